// Opening an outing: before the first cast, or late with what was so far; the water's temperature, and the usual care.

import { lastAt } from './ids.js';
import { asks, openOuting } from './day.js';
import { cellOf } from './rules.js';
import { once } from './press.js';
import { button, field, h, pick, stepper, t } from './page.js';
import { app, go, keep } from './main.js';
import { measured } from './reporting.js';

/** The form for a pack. */
export function opening(key) {
  const pack = app.packs.find((p) => p.key === key);
  if (!pack) return [h('h1', {}, t('day.none')), h('a.button', { href: '#' }, t('back.home'))];
  const { protocol } = pack, so = { water: protocol.waters.length === 1 ? protocol.waters[0].name : null, temperature: null, conditions: '', cell: null, late: false, counts: {}, rigged: 'none', care: false };
  const since = h('input', { type: 'time', required: true }), conditions = h('input', { type: 'text', maxLength: 200 });
  const care = h('div', { ariaLive: 'polite' }), fault = h('p.fault', { role: 'alert' });
  const weigh = () => care.replaceChildren(...carefully(pack, so));
  const late = h('details', { ontoggle: (e) => { so.late = e.target.open; } }, h('summary', {}, t('open.late')), h('p.small', {}, t('open.late_text')), field(t('open.since'), since),
    pick(t('open.rigged'), [...protocol.patterns.map((p) => [p.code, t('open.rigged_lower', { fly: p.name, word: protocol.lower_word })]), ['none', t('open.rigged_other')]], so.rigged, (v) => { so.rigged = v; }),
    h('p', {}, t('open.so_far')),
    ...[...protocol.patterns.map((p) => [p.code, p.name]), ['unknown', t('taken.unknown')]].map(([code, name]) => stepper(name, { value: 0, step: 1, least: 0, most: 30 }, (v) => { so.counts[code] = v; })));
  weigh();
  const begin = once(async () => {
    const now = Date.now(), missing = faultOf(pack, so, since.value, now);
    fault.textContent = missing ?? '';
    if (missing) return;
    so.conditions = conditions.value.trim();
    const record = openOuting(pack, { ...so, late: so.late ? lateness(protocol, so, since.value, now) : null }, now);
    if (await keep([record], { said: t('said.opened') })) go('day', record.outing);
  });
  return [
    h('h1', {}, t('open.title')), h('p.small', {}, pack.title, pack.for ? ` · ${t('for.name', { name: pack.name })}` : ''),
    pick(t('open.water'), protocol.waters.map((w) => [w.name, w.name]), so.water, (v) => { so.water = v; }),
    measured(t('open.temperature'), (m) => {
      so.temperature = m;
      weigh();
    }),
    care, field(t('open.conditions'), conditions), pack.place && protocol.place_grid !== 'none' ? roughPlace(protocol.place_grid, so) : null, late, fault, button('open', t('open.do'), begin, 'main'), h('a.button', { href: '#' }, t('back.home')),
  ];
}

/** What the temperature asks of the angler, with a tick where it asks for care. */
function carefully(pack, so) {
  const { protocol } = pack, state = asks(pack, so.temperature, Date.now()), { caution_c: caution, stop_c: stop } = protocol.welfare;
  const general = h('details', {}, h('summary', {}, t('care.all')), protocol.welfare.local_rules ? h('p', {}, protocol.welfare.local_rules) : null,
    ...protocol.welfare.cautions.map((c) => h('p', {}, h('b', {}, `${c.topic}. `), c.text)), protocol.welfare.report_line ? h('p', {}, protocol.welfare.report_line) : null);
  const law = h('p.small', {}, t('care.law'));
  if (state === 'stop') return [h('p.loud', {}, h('b', {}, t('warm.stop', { limit: stop })), ' ', t('warm.stop_open')), law, general];
  if (state === 'fine') return [law, general];
  const text = { caution: t('warm.caution', { limit: caution }), let: t('warm.let', { limit: stop }), unmeasured: t('warm.unmeasured_open', { limit: stop }) };
  return [h('p.care', {}, text[state]), h('label.tick', {}, h('input', { type: 'checkbox', checked: so.care, onchange: (e) => { so.care = e.target.checked; } }), h('span', {}, t('care.tick'))), law, general];
}

/** Where the water is, as coarsely as the rule sheet's grid, for who ticked that it may be kept. Only the cell is kept. */
function roughPlace(grid, so) {
  const shown = h('p.small', { role: 'status' }, t('open.place_text', { grid }));
  return h('div', {}, button('place', t('open.place'), () => navigator.geolocation.getCurrentPosition(({ coords }) => {
    so.cell = cellOf(grid, coords.latitude, coords.longitude);
    shown.textContent = t('open.place_kept', { cell: so.cell });
  }, () => { shown.textContent = t('open.place_none'); }, { maximumAge: 600_000, timeout: 30_000 })), shown);
}

function faultOf(pack, so, since, now) {
  if (!so.water) return t('open.need_water');
  if (['caution', 'let', 'unmeasured'].includes(asks(pack, so.temperature, now)) && !so.care) return t('open.need_care');
  return so.late && lastAt(now, since) === null ? t('open.need_since') : null;
}

function lateness(protocol, so, since, now) {
  const lower = protocol.patterns.find((p) => p.code === so.rigged);
  const fish = Object.entries(so.counts).flatMap(([code, n]) => Array(n).fill(code));
  return { since: lastAt(now, since), rigged: lower ? t('open.rigged_note', { code: lower.code, word: protocol.lower_word }) : t('open.rigged_other'), fish };
}
