// What was not as planned, moving, leaving the trial for a while, and the water's temperature. Owning up costs nothing.

import { clock, lastAt } from './ids.js';
import * as steps from './day.js';
import { once } from './press.js';
import { button, field, h, pick, stepper, t, tn } from './page.js';
import { app, go, keep } from './main.js';

/** A water temperature, with the unit kept as the member last chose it; told hears a measure, or null for no thermometer. */
export function measured(legend, told) {
  const kept = localStorage.getItem('evenrig-temperature') ?? 'C', so = { value: '', unit: kept };
  const input = h('input', { type: 'text', inputMode: 'decimal', autocomplete: 'off', maxLength: 5 }), fault = h('span.fault', { role: 'alert' });
  const tell = () => {
    const value = Number(input.value.replace(',', '.')), c = so.unit === 'F' ? (value - 32) * 5 / 9 : value;
    const good = input.value.trim() !== '' && c >= -1 && c <= 35;
    fault.textContent = input.value.trim() === '' || good ? '' : t('temperature.range');
    told(good ? { value, unit: so.unit } : null);
  };
  input.oninput = tell;
  return h('div.measure', {}, field(legend, input, t('temperature.none')), fault, pick(t('temperature.unit'), [['C', '°C'], ['F', '°F']], kept, (u) => {
    so.unit = u;
    localStorage.setItem('evenrig-temperature', u);
    tell();
  }));
}

/** The menu, or the form of one kind. */
export function reporting(outing, kind) {
  const { day, pack } = app;
  if (!day) return [h('h1', {}, t('day.none')), h('a.button', { href: '#' }, t('back.home'))];
  const form = kind && forms[kind]?.(day, pack);
  return form ? [...form, h('a.button', { href: `#day/${day.id}` }, t('back.day'))] : menu(day, pack);
}

function menu(day, pack) {
  const to = (kind) => button(kind, t(`report.${kind}`), () => go('report', day.id, kind));
  const rig = ['fly_lost', 'third_fly', 'wrong_fly', 'wrong_way_round', 'spacing_changed', 'depth_changed'];
  return [
    h('h1', {}, t('menu.report')), h('p', {}, t('report.free')), ...(day.period ? rig.map(to) : []),
    button('off_trial', t('report.off_trial'), once(async () => {
      if (await keep([steps.report(day, 'off_trial', Date.now(), Date.now())], { day })) go('day', day.id);
    })),
    ...(pack.protocol.waters.length > 1 ? [to('moved')] : []), to('temperature'), button('close', t('menu.close'), () => go('close', day.id)), h('a.button', { href: `#day/${day.id}` }, t('back.day')),
  ];
}

const done = (day, keeping, text) => once(async () => {
  const records = keeping(Date.now());
  if (records.length && await keep(records, { day, said: text })) go('day', day.id);
});

/** A report of the rig with since when, whether it is put right, and words. */
function rigForm(kind) {
  return (day) => {
    const now = Date.now(), from = day.period.began, so = { since: now, right: 'yes' }, note = h('textarea', { maxLength: 500, rows: 2 });
    return [
      h('h1', {}, t(`report.${kind}`)), h('p', {}, t(`report.${kind}_text`)), sinceWhen(from, now, so),
      pick(t('report.right'), [['yes', t('report.right_yes')], ['no', t('report.right_no')]], so.right, (v) => { so.right = v; }), field(t('report.words'), note, t('report.words_help')),
      button('send', t('report.do'), done(day, (at) => [steps.report(day, kind, Math.max(from, so.since), at, { until: so.right === 'yes' ? at : null, note: note.value.trim() })], t('said.reported')), 'main'),
    ];
  };
}

function sinceWhen(from, now, so) {
  const minutes = (n) => Math.max(from, now - n * 60_000);
  const input = h('input', { type: 'time', oninput: (e) => { so.since = lastAt(now, e.target.value) ?? so.since; } });
  return h('div', {}, pick(t('report.since'), [[0, t('report.now')], ...[10, 30].filter((n) => now - n * 60_000 > from).map((n) => [n, tn('report.ago', n)]), ['all', t('report.all', { time: clock(from) })]], 0,
    (v) => { so.since = v === 'all' ? from : minutes(v); }), field(t('report.at'), input));
}

const forms = {
  third_fly: rigForm('third_fly'), wrong_fly: rigForm('wrong_fly'), wrong_way_round: rigForm('wrong_way_round'),
  spacing_changed: rigForm('spacing_changed'), depth_changed: rigForm('depth_changed'),

  fly_lost(day) {
    const now = Date.now(), so = { since: now };
    return [h('h1', {}, t('report.fly_lost')), h('p', {}, t('report.fly_lost_text')), sinceWhen(day.period.began, now, so),
      button('gone', t('lost.do'), done(day, (at) => [steps.flyGone(day, Math.max(day.period.began, so.since), at)], t('said.reported')), 'main')];
  },

  retied(day, pack) {
    let number = 0;
    return [h('h1', {}, t('lost.retied')), h('p', {}, t('lost.retied_text')),
      stepper(t('lost.number'), { value: 0, step: 1, least: 0, most: pack.protocol.rig.specimens_per_pattern, format: (n) => (n === 0 ? '–' : String(n)) }, (n) => { number = n; }),
      button('retied', t('lost.retied_do'), done(day, (at) => [steps.retied(day, at, number)], t('said.reported')), 'main'),
      button('ends', t('lost.ends'), done(day, (at) => steps.stopPeriod(day, at, 'fly_lost'), t('said.reported')))];
  },

  could_not_swap(day) {
    const from = day.period.swapNow ?? Date.now(), note = h('textarea', { maxLength: 500, rows: 2 });
    const reported = (at) => (day.period.could ? [steps.report(day, 'could_not_swap', from, at, { note: note.value.trim() })] : []);
    return [h('h1', {}, t('swap.cannot')), h('p', {}, t('swap.cannot_text')), field(t('report.words'), note, t('report.words_help')),
      button('later', t('swap.later'), once(async () => {
        const records = reported(Date.now());
        if (records.length && !await keep(records, { day })) return;
        app.aside = true;
        go('day', day.id);
      }), 'main'),
      button('ends', t('swap.ends'), done(day, (at) => [...reported(at), ...steps.stopPeriod(day, at, 'could_not_swap')], t('said.reported')))];
  },

  moved(day, pack) {
    let water = null;
    return [h('h1', {}, t('report.moved')), h('p', {}, t('report.moved_text')),
      pick(t('open.water'), pack.protocol.waters.filter((w) => w.name !== day.water).map((w) => [w.name, w.name]), null, (v) => { water = v; }),
      button('moved', t('report.moved_do'), done(day, (at) => (water ? steps.move(day, water, at) : []), t('said.reported')), 'main')];
  },

  temperature(day) {
    let measure = null;
    return [h('h1', {}, t('menu.temperature')), measured(t('open.temperature'), (m) => { measure = m; }),
      button('measured', t('temperature.do'), done(day, (at) => (measure ? [steps.reading(day, measure, at)] : []), t('said.measured')), 'main')];
  },
};
