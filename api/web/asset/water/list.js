// The day's fish, one by one and without totals, and what can be said of each, at the water or later at the car.

import { clock, newId } from './ids.js';
import * as steps from './day.js';
import { hung, millimetres } from './rules.js';
import { once } from './press.js';
import { button, field, h, pick, say, stepper, t } from './page.js';
import { app, go, keep } from './main.js';
import { codeName, correct, takeBack } from './fishing.js';

/** The fish of the outing, newest first; those of which something is still to be said are marked. */
export function list() {
  const { day, pack } = app;
  if (!day) return [h('h1', {}, t('day.none')), h('a.button', { href: '#' }, t('back.home'))];
  const rows = day.fish.map((f) => h('li', {}, h('a', { href: `#one/${f.id}/${day.id}`, className: f.void ? 'void' : '' }, h('b', {}, clock(f.caught_at)), ' ', codeName(pack, f.taken_pattern), ' · ', summary(f)),
    h('span.state', {}, t(`state.${f.void ? 'void' : f.sent}`)))).reverse();
  return [
    h('h1', {}, t('fish.title')), h('p.small', {}, t('fish.no_totals')), rows.length ? h('ul.fish', {}, rows) : h('p', {}, t('fish.none')),
    ...(day.ended ? [] : [button('temperature', t('menu.temperature'), () => go('report', day.id, 'temperature')), button('close', t('menu.close'), () => go('close', day.id)), h('a.button', { href: `#day/${day.id}` }, t('back.day'))]),
    h('a.button', { href: '#' }, t('back.home')),
  ];
}

const summary = (f) => [t(`outcome.${f.foul_hooked ? 'foul' : f.outcome ?? 'landed'}`), speciesName(f.species), f.length && `${f.length.value} ${f.length.unit}`, f.double_id && t('fish.of_double')].filter(Boolean).join(', ');
const speciesName = (s) => (s === 'other' || s === 'unknown' ? t(`species.${s}`) : s);

/** One fish: what it took, what it was, how long. way is "double" for saying that two came at once. */
export function one(id, outing, way) {
  const { day, pack } = app, fish = day?.fish.find((f) => f.id === id);
  if (!fish) return [h('h1', {}, t('day.none')), h('a.button', { href: '#' }, t('back.home'))];
  const back = h('a.button', { href: day.ended ? `#fish/${day.id}` : `#day/${day.id}` }, t(day.ended ? 'fish.list' : 'back.day'));
  return way === 'double' ? [...double(day, pack, fish), back] : [...details(day, pack, fish), back];
}

/** The second fish of a double: both carry one double_id, and are counted apart. */
function double(day, pack, fish) {
  const took = (taken) => once(async () => {
    const double_id = fish.double_id ?? newId(), { records } = steps.logFish(day, pack.protocol, taken, Date.now(), { double_id, period: fish.period, caught_at: fish.caught_at });
    if (!await keep(records, { said: t('said.double') })) return;
    if (!fish.double_id) await correct(day, fish, { double_id }, t('reason.double'));
    go('day', day.id);
  });
  const { upper, lower } = hung(pack.protocol, day.period?.arrangement ?? 'test_lower');
  return [h('h1', {}, t('double.title')), h('p', {}, t('double.text')), ...[upper, lower].map((p) => button(p.code, p.name, took(p.code), `big.of-${p.part}`)), button('unknown', t('take.unknown'), took('unknown'), 'big')];
}

/** Signs of harm that were seen on the fish; none is the usual answer. */
function welfareTicks(fish, so) {
  const seen = new Set(fish.welfare ?? []);
  return h('fieldset', {}, h('legend', {}, t('one.welfare')), ...['deep_hooked', 'bleeding', 'dead'].map((sign) => h('label.tick', {}, h('input', { type: 'checkbox', checked: seen.has(sign), onchange: (e) => {
    if (e.target.checked) seen.add(sign);
    else seen.delete(sign);
    so.welfare = [...seen].sort();
  } }), h('span', {}, t(`welfare.${sign}`)))), h('p.small', {}, t('one.welfare_help')));
}

const kept = (name, usual) => localStorage.getItem(`evenrig-${name}`) ?? usual;

function details(day, pack, fish) {
  const { protocol } = pack, so = {}, unit = kept('length', 'cm');
  let length = fish.length ?? { value: unit === 'in' ? 12 : 30, unit }, measuredNow = !!fish.length;
  const set = (name) => (v) => { so[name] = v; };
  const steps1 = h('div', {}), sure = h('p.care', { role: 'alert' });
  const draw = () => steps1.replaceChildren(stepper(t('length.label'), { value: length.value, step: length.unit === 'in' ? 0.5 : 1, least: 1, most: length.unit === 'in' ? 60 : 150, format: (v) => `${measuredNow ? v : '–'} ${length.unit}` }, (value) => {
    measuredNow = true;
    length = { ...length, value };
    so.length = length;
    const mm = millimetres(length);
    sure.textContent = mm < 60 || mm > 800 ? t('length.sure') : '';
    draw();
  }));
  draw();
  const note = h('textarea', { maxLength: 500, rows: 2 }, fish.note ?? '');
  const save = once(async () => {
    if (note.value.trim() !== (fish.note ?? '')) so.note = note.value.trim();
    const changes = Object.fromEntries(Object.entries(so).filter(([name, v]) => JSON.stringify(v) !== JSON.stringify(fish[name])));
    if (Object.keys(changes).length && !await correct(day, fish, changes, t(changes.taken_pattern ? 'reason.wrong_fly' : 'reason.details'))) return;
    say(t('said.changed', { what: t('more.details') }));
    go(day.ended ? 'fish' : 'day', day.id);
  });
  return [
    h('h1', {}, t('one.title', { time: clock(fish.caught_at) })),
    pick(t('one.taken'), [...protocol.patterns.map((p) => [p.code, p.name]), ['unknown', t('taken.unknown')], ['other', t('taken.other')]], fish.taken_pattern, set('taken_pattern')),
    pick(t('one.outcome'), ['landed', 'lost', 'touched'].map((o) => [o, t(`outcome.${o}`)]), fish.outcome ?? 'landed', set('outcome')),
    pick(t('one.foul'), [['no', t('no')], ['yes', t('one.foul_yes')]], fish.foul_hooked ? 'yes' : 'no', (v) => { so.foul_hooked = v === 'yes'; }),
    pick(t('one.species'), [...protocol.species, 'other', 'unknown'].map((s) => [s, speciesName(s)]), fish.species, set('species')),
    pick(t('one.origin'), ['unknown', 'wild', 'stocked'].map((o) => [o, t(`origin.${o}`)]), fish.origin ?? 'unknown', set('origin')),
    welfareTicks(fish, so), steps1, sure, pick(t('length.unit'), [['cm', 'cm'], ['in', 'in']], length.unit, (u) => {
      localStorage.setItem('evenrig-length', u);
      length = { value: u === 'in' ? 12 : 30, unit: u };
      measuredNow = false;
      draw();
    }),
    pick(t('one.rig'), [['yes', t('yes')], ['no', t('one.rig_no')]], fish.rig_intact === false ? 'no' : 'yes', (v) => { so.rig_intact = v === 'yes'; }),
    field(t('report.words'), note, t('report.words_help')), button('save', t('one.save'), save, 'main'),
    fish.void ? null : button('void', t('one.void'), once(async () => {
      if (await takeBack(day, fish)) go('fish', day.id);
    })),
  ];
}
