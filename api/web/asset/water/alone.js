// The page for who tests a pattern alone, without club or account: the phone's own coin draws, everything stays on this
// phone, and what was caught leaves it as a catch table.

import { clock, dateOf, newId } from './ids.js';
import * as store from './store.js';
import { dayOf } from './day.js';
import { askToKeep } from './carry.js';
import { once } from './press.js';
import { button, field, h, pick, say, stepper, t, tn } from './page.js';
import { app, draw, go, start } from './main.js';
import { tableOf } from './table.js';

const account = 'alone';

/** The first screen: the questions that were begun, and a new one. */
function home() {
  if (!app.stores) return h('section.loud', { role: 'alert' }, h('h1', {}, t('broken.title')), h('p', {}, t('home.no_store')), h('p', {}, t('broken.card')));
  return [
    h('h1', {}, t('alone.title')), h('p', {}, t('alone.text')),
    ...app.days.map((r) => h('section.outing', {}, h('h2', {}, r.body.water), h('p.small', {}, t('home.open_since', { date: dateOf(r.at), time: clock(r.body.started_at) })), h('a.button.main', { href: `#day/${r.outing}` }, t('home.go_on')))),
    ...app.packs.map(question), button('new', t('alone.new'), () => go('new'), app.packs.length ? '' : 'main'),
    h('p.small', {}, t('alone.limits')), app.packs.length ? forgetting() : null,
  ];
}

const question = (pack) => h('section.trial', {}, h('h2', {}, pack.title),
  app.days.some((d) => d.pack === pack.key) ? null : button(`open ${pack.key}`, t('open.title'), () => go('open', pack.key), 'main'),
  button(`table ${pack.key}`, t('alone.table'), once(() => saveTable(pack))));

function forgetting() {
  const sure = h('input', { type: 'checkbox' });
  return h('details', {}, h('summary', {}, t('alone.forget')), h('p', {}, t('alone.forget_text')), h('label.tick', {}, sure, h('span', {}, t('alone.forget_sure'))), button('forget', t('alone.forget_do'), once(async () => {
    if (!sure.checked) return;
    await store.forget(account);
    await draw();
  })));
}

/** A new question: the two flies, the words for their places, the water and the rule for swapping. */
function setUp() {
  const text = (most, value = '') => h('input', { type: 'text', maxLength: most, value, autocomplete: 'off' });
  const fly = (part) => ({ part, name: text(80), shape: text(40), colour: text(40) });
  const test = fly('test'), control = fly('control'), lower = text(20, t('alone.lower_usual')), upper = text(20, t('alone.upper_usual')), waters = text(200), species = text(200);
  const so = { fish: 2, minutes: 45, spacing: 20, grayling: 'no' }, fault = h('p.fault', { role: 'alert' });
  const both = (f) => h('fieldset', {}, h('legend', {}, t(`alone.${f.part}`)), field(t('alone.name'), f.name), field(t('alone.shape'), f.shape), field(t('alone.colour'), f.colour));
  const keep = once(async () => {
    const missing = [test.name, control.name, lower, upper, waters].some((i) => !i.value.trim());
    fault.textContent = missing ? t('alone.need') : test.name.value.trim() === control.name.value.trim() ? t('alone.need_two') : '';
    if (fault.textContent) return;
    await askToKeep();
    const pack = await packOf({ test, control, lower, upper, waters, species }, so);
    go('open', pack.key);
  });
  return [
    h('h1', {}, t('alone.new')), h('p', {}, t('alone.one_feature')), both(test), both(control), field(t('alone.upper'), upper), field(t('alone.lower'), lower), field(t('alone.waters'), waters, t('alone.commas')), field(t('alone.species'), species, t('alone.commas')),
    stepper(t('alone.spacing'), { value: so.spacing, step: 5, least: 5, most: 300, format: (n) => `${n} cm` }, (n) => { so.spacing = n; }),
    stepper(t('alone.after_fish'), { value: so.fish, step: 1, least: 1, most: 20 }, (n) => { so.fish = n; }), stepper(t('alone.after_minutes'), { value: so.minutes, step: 5, least: 5, most: 180 }, (n) => { so.minutes = n; }),
    pick(t('alone.grayling'), [['no', t('no')], ['yes', t('alone.grayling_yes')]], 'no', (v) => { so.grayling = v; }), fault, button('keep', t('alone.begin'), keep, 'main'), h('a.button', { href: '#' }, t('back.home')),
  ];
}

const several = (input) => input.value.split(',').map((s) => s.trim()).filter(Boolean);

async function packOf(form, so) {
  const id = newId(), pattern = (f, code) => ({ code, part: f.part, name: f.name.value.trim(), shape: f.shape.value.trim(), colour: f.colour.value.trim() });
  const species = several(form.species), patterns = [pattern(form.test, 'A'), pattern(form.control, 'B')];
  const cautions = await (await fetch('/water/cautions.json')).json();
  const protocol = {
    design: 'paired', patterns, lower_word: form.lower.value.trim(), upper_word: form.upper.value.trim(), species: species.length ? species : ['unknown'], min_length_mm: 0,
    waters: several(form.waters).map((name) => ({ name })), rig: { spacing_cm: so.spacing, specimens_per_pattern: 20 }, draw: { trip_units: 0, block_may_span_outings: false },
    swap: { after_fish: so.fish, after_minutes: so.minutes, cool_down_casts: 1 },
    welfare: { caution_c: so.grayling === 'yes' ? 15 : 18, stop_c: 20, always: true, local_rules: '', report_line: '', cautions },
  };
  return store.alterPack(`${account}/${id}`, () => ({ key: `${account}/${id}`, account, trial: id, enrolment: account, title: t('alone.question', { test: patterns[0].name, control: patterns[1].name }), state: 'open', version: 1, protocol, units: [], half: null, here: [] }));
}

/** The fish of a question as a catch table. */
async function saveTable(pack) {
  const outings = (await store.ofKind(account, 'outing')).filter((r) => r.pack === pack.key);
  const days = await Promise.all(outings.map(async (r) => dayOf(await store.ofOuting(account, r.outing))));
  const link = h('a', { href: URL.createObjectURL(new Blob([tableOf(days, pack.protocol)], { type: 'text/csv' })), download: `evenrig-${dateOf(Date.now())}.csv` });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  say(tn('alone.saved', days.reduce((n, d) => n + d.fish.length, 0)));
}

/** After closing: where the table goes from here. */
async function closed() {
  const pack = app.packs[0];
  return [h('h1', {}, t('alone.tables')), h('p', {}, t('alone.closed')), ...app.packs.map((p) => button(`table ${p.key}`, t('alone.table_of', { title: p.title }), once(() => saveTable(p)))), pack && h('p.small', {}, t('alone.analyse')), h('a.button', { href: '/drop' }, t('alone.drop')), h('a.button', { href: '#' }, t('back.home'))];
}

start('/alone', { '': home, new: setUp, kept: closed }, { id: account, name: '' });
