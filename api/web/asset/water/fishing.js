// The outing as it goes: rig the next round, fish, swap. Each is drawn from the day's records alone.

import { clock, dateOf } from './ids.js';
import * as steps from './day.js';
import { hung } from './rules.js';
import { fly, looks, rig } from './rig.js';
import { once } from './press.js';
import { carry } from './readiness.js';
import { button, h, say, stepper, t, tn } from './page.js';
import { app, change, draw, go, keep, undoing } from './main.js';

const codeName = (pack, code) => (code === 'unknown' ? t('taken.unknown') : code === 'other' ? t('taken.other') : pack.protocol.patterns.find((p) => p.code === code)?.name ?? code);
export { codeName };

/** The screen of the outing in view. */
export function fishing() {
  const { day, pack } = app;
  if (!day) return [h('h1', {}, t('day.none')), h('a.button', { href: '#' }, t('back.home'))];
  if (day.ended) return over(day);
  if (steps.forgotten(day, Date.now()) && !app.aside) return leftOpen(day);
  if (steps.warmth(day, pack) === 'stop') return warm(day, pack);
  if (day.off) return off(day);
  if (!day.period) return rigging(day, pack);
  const swap = pack.protocol.design === 'paired' ? steps.swapOf(day, pack.protocol, Date.now()) : { shown: null };
  if (swap.shown && !app.aside) return swapping(day, pack, swap);
  return lines(day, pack, swap);
}

const over = (day) => [h('h1', {}, t('over.title')), h('p', {}, t('over.text')), h('a.button', { href: `#fish/${day.id}` }, t('fish.list')), h('a.button', { href: '#' }, t('back.home'))];

/** An outing that was never closed: it asks to be, and can be gone on with. */
const leftOpen = (day) => h('section.quiet', {}, h('h1', {}, t('left.title')), h('p', {}, t('left.text', { date: dateOf(day.began), time: clock(day.told) })),
  button('close', t('menu.close'), () => go('close', day.id), 'main'), button('list', t('fish.list'), () => go('fish', day.id)), button('on', t('left.on'), () => {
    app.aside = true;
    return draw();
  }));

/** Water at which this trial stops: nothing can be rigged or logged, only measured again or closed, unless the organiser lets the angler fish on. */
function warm(day, pack) {
  const look = once(async () => {
    if (await carry() && steps.warmth(app.day, app.pack) === 'stop') say(t('warm.no_leave'));
  });
  return h('section.loud', {}, h('h1', {}, t('warm.stop', { limit: pack.protocol.welfare.stop_c })), h('p', {}, t('warm.stop_text')),
    button('measure', t('menu.temperature'), () => go('report', day.id, 'temperature')), button('close', t('menu.close'), () => go('close', day.id), 'main'),
    app.alone ? null : [h('p.small', {}, t('warm.leave')), button('leave', t('warm.look'), look, 'lesser')]);
}

const off = (day) => h('section.quiet', {}, h('h1', {}, t('off.title', { time: clock(day.off) })), h('p', {}, t('off.text')),
  button('back', t('off.back'), once(() => keep([steps.report(day, 'back_on', Date.now(), Date.now())], { day })), 'main'),
  button('close', t('menu.close'), () => go('close', day.id)));

function cautions(day, pack) {
  const state = steps.warmth(day, pack), { caution_c: caution, stop_c: stop } = pack.protocol.welfare;
  return { caution: h('p.care', {}, t('warm.caution', { limit: caution })), let: h('p.care', {}, t('warm.let', { limit: stop })), unmeasured: h('p.care', {}, t('warm.unmeasured')) }[state] ?? null;
}

function drawing(protocol, arrangement) {
  const { lower, upper } = hung(protocol, arrangement);
  return rig(protocol, arrangement, t('rig.label', { upper: upper.name, upper_word: protocol.upper_word, lower: lower.name, lower_word: protocol.lower_word }));
}

/** Casts after a change that do not count yet: the line still drifts as before. */
const castsFirst = ({ protocol: { swap: { cool_down_casts: n } } }) => (n ? tn('swap.casts', n) : null);

const named = (round) => (round.coin ? t('round.coin', { n: round.n }) : t(`round.half${round.half}`, { n: round.n }));

/** The next round: what chance drew, and "rigged so". */
function rigging(day, pack) {
  const round = steps.nextRound(day, pack);
  if (!round) return runOut(day, pack);
  const flies = { ...day.flies }, before = day.periods.at(-1), same = before?.arrangement === round.arrangement, design = pack.protocol.design;
  if (design === 'paired_by_outing' && before) return h('section.quiet', {}, h('h1', {}, t('round.one')), button('close', t('menu.close'), () => go('close', day.id), 'main'));
  const rigged = (fished) => once(async () => {
    const now = Date.now(), { records, pack: after } = steps.begin(day, pack, now, fished, flies);
    await keep(records, { packs: [after], day, said: t('said.begun', { time: clock(now) }) });
  });
  return [
    h('h1', {}, t(same ? 'rig.same' : before ? 'rig.next' : 'rig.first')), h('p.round', {}, named(round), ' · ', day.water), cautions(day, pack),
    round.check ? h('p', {}, t('rig.check')) : null, drawing(pack.protocol, round.arrangement),
    h('p.small', {}, t('rig.spacing', { cm: pack.protocol.rig.spacing_cm, in: (pack.protocol.rig.spacing_cm / 2.54).toFixed(1) }), ' ',
      before ? castsFirst(pack) : design === 'paired' && pack.protocol.swap.after_minutes ? t('rig.reminder') : null),
    button('rigged', t('rig.so'), rigged(null), 'main'), button('turned', t('rig.turned'), rigged(round.arrangement === 'test_lower' ? 'control_lower' : 'test_lower'), 'lesser'), numbers(pack.protocol, flies), menuRow(day),
  ];
}

/** The numbers of the two flies in the envelope, for who likes to note them; the next half goes on with them. */
function numbers({ patterns, rig: { specimens_per_pattern: most } }, flies) {
  if (app.alone || most < 2) return null;
  return h('details', { open: Object.values(flies).some(Boolean) }, h('summary', {}, t('rig.numbers')), ...patterns.map(({ name, part }) => stepper(name,
    { value: flies[`${part}_fly`] ?? 0, step: 1, least: 0, most, format: (n) => n || '–' }, (n) => { flies[`${part}_fly`] = n; })));
}

/** The carried rounds have run out: the phone draws a coin. It is kept before it is shown, so that nobody draws again. */
function runOut(day, pack) {
  if (!app.alone && pack.units.length === 0) return h('section.loud', {}, h('h1', {}, t('coin.none')), h('p', {}, t('coin.none_text')), menuRow(day));
  return h('section.quiet', {}, h('h1', {}, t('coin.title')), h('p', {}, t('coin.text')),
    button('coin', t('coin.draw'), once(() => {
      const { records, pack: after } = steps.drawCoin(day, pack, Date.now());
      return keep(records, { packs: [after], day });
    }), 'main'), menuRow(day));
}

/** The swap: it fills the screen and stays until it is answered. */
function swapping(day, pack, swap) {
  const round = steps.nextRound({ ...day, periods: [...day.periods.slice(0, -1), { ...day.period, end: { reason: 'swap_rule' } }], period: null }, pack);
  const same = round?.arrangement === day.period.arrangement;
  const swapped = once(async () => {
    const now = Date.now(), ended = steps.swapped(day, pack, now);
    if (!round) return keep(ended.records, { packs: [ended.pack], day });
    const next = { ...day, at: steps.moment(day, now), lost: null, period: null, periods: [...day.periods.slice(0, -1), { ...day.period, end: { reason: 'swap_rule' } }] };
    const begun = steps.begin(next, ended.pack, now);
    return keep([...ended.records, ...begun.records], { packs: [begun.pack], day, said: t('said.swapped', { time: clock(now) }) });
  });
  const saved = undoing(Date.now());
  return h('section.swap', { role: 'alertdialog', ariaLabel: t('swap.title') },
    h('h1', {}, t(!round ? 'swap.over' : same ? 'swap.same' : 'swap.title')),
    h('p.round', {}, t(`swap.by_${day.period.by}`, { time: clock(swap.shown) }), round ? [' ', named(round)] : ''),
    round ? drawing(pack.protocol, round.arrangement) : h('p', {}, t('coin.text')),
    h('p.small', {}, castsFirst(pack)),
    button('swapped', t(round ? same ? 'swap.done_same' : 'swap.done' : 'coin.next'), swapped, 'main'),
    h('div.row', {}, button('aside', t('swap.fish'), () => {
      app.aside = true;
      return draw();
    }), button('cannot', t('swap.cannot'), () => go('report', day.id, 'could_not_swap')), button('else', t('swap.else'), () => go('report', day.id))),
    saved ? undoRow(day, pack, saved) : null);
}

/** Fishing: the line with its two flies, each half a screen, in the order in which they hang. */
function lines(day, pack, swap) {
  const { lower, upper } = hung(pack.protocol, day.period.arrangement), saved = undoing(Date.now());
  const took = (taken) => once(async () => {
    const now = Date.now(), { records, due } = steps.logFish(day, pack.protocol, taken, now);
    app.aside = false;
    await keep(records, { said: [t('said.saved', { fly: codeName(pack, taken), time: clock(now) }), ...(due ? [t('swap.title')] : [])].join('. '), how: due ? 'loud' : 'saved' });
  }, 1200, 'take');
  const half = (pattern, word) => h(`button.take.of-${pattern.part}`, { type: 'button', onclick: took(pattern.code), data: { key: pattern.code } },
    h('span.word', {}, word), fly(pattern), h('b', {}, pattern.name), h('span.looks', {}, ...looks(pattern)));
  return [
    h('h1.hidden', {}, t('day.title', { water: day.water })), others(day),
    swap.shown ? h('p.due', {}, button('due', t('swap.still'), () => {
      app.aside = false;
      return draw();
    }, 'main')) : h('p.round', {}, t('day.round', { n: day.period.n, half: day.period.half }), ' · ', nextSwap(day, swap)),
    day.lost ? lost(day) : null, steps.warmth(day, pack) === 'unmeasured' ? null : cautions(day, pack),
    h('div.lines', {}, half(upper, pack.protocol.upper_word), half(lower, pack.protocol.lower_word)),
    saved ? undoRow(day, pack, saved) : [h('div.row', {}, button('unsure', t('take.unknown'), took('unknown')), button('planned', t('menu.report'), () => go('report', day.id)),
      button('menu', t('fish.list'), () => go('fish', day.id)))],
  ];
}

/** On a phone that several anglers share: whose outing this is, and the way to the others'. */
function others(day) {
  if (app.days.length < 2) return null;
  const name = (r) => app.packs.find((p) => p.key === r.pack)?.name ?? (app.who.name || r.body.water);
  return h('div.row', {}, ...app.days.map((r) => h('button', { type: 'button', data: { key: r.outing }, ariaPressed: String(r.outing === day.id), onclick: () => go('day', r.outing) }, name(r))));
}

function nextSwap(day, swap) {
  if (swap.of === undefined) return t('day.whole');
  const left = swap.of === null ? null : Math.max(0, swap.of - swap.fish), time = swap.ends === null ? null : clock(swap.ends);
  if (left === null) return t('day.swap_at', { time });
  return time === null ? tn('day.swap_fish', left) : tn('day.swap_either', left, { time });
}

const lost = (day) => h('p.due', {}, t('lost.since', { time: clock(day.lost.body.from) }), ' ', button('retied', t('lost.retied'), () => go('report', day.id, 'retied')));

const menuRow = (day) => h('div.row', {}, button('planned', t('menu.report'), () => go('report', day.id)), button('menu', t('fish.list'), () => go('fish', day.id)));

/** What can be said of a fish in one more tap, while it is still on the phone. */
function undoRow(day, pack, fish) {
  const say1 = (key, body) => button(key, t(`more.${key}`), once(async () => {
    if (await correct(day, fish, body, t(`more.${key}`))) say(t('said.changed', { what: t(`more.${key}`) }));
  }));
  return h('div.saved', { data: { fish: fish.id } }, h('p', {}, t('saved.line', { fly: codeName(pack, fish.taken_pattern), time: clock(fish.caught_at), species: fish.species, outcome: t(`outcome.${fish.foul_hooked ? 'foul' : fish.outcome ?? 'landed'}`) })),
    h('div.row', {}, button('undo', t('more.undo'), once(async () => {
      if (await takeBack(day, fish)) say(t('said.undone'));
    }), 'main'),
    say1('came_off', { outcome: 'lost' }), say1('foul', { foul_hooked: true }), say1('unsure', { taken_pattern: 'unknown' }),
    button('double', t('more.double'), () => go('one', fish.id, day.id, 'double')), button('details', t('more.details'), () => go('one', fish.id, day.id))));
}

/** Takes a fish back: unsent it is never sent, sent it is voided, and both is kept. */
export function takeBack(day, fish) {
  return fish.tried && fish.sent !== 'refused' ? keep([steps.amendFish(day, fish, t('reason.undone'), { void: true }, Date.now())]) : change(fish.seq, (r) => (r.tried && r.sent !== 'refused' ? null : { ...r, sent: 'undone' }));
}

/** Changes what is noted of a fish: in place while it never left the phone, else by a correction that keeps both. */
export async function correct(day, fish, body, reason) {
  if (!fish.tried || fish.sent === 'refused') {
    const done = await change(fish.seq, (r) => (r.tried && r.sent !== 'refused' ? null : { ...r, body: { ...r.body, ...body }, sent: 'waiting', tried: false, answer: null }));
    if (done) return true;
  }
  return keep([steps.amendFish(day, fish, reason, body, Date.now())]);
}
