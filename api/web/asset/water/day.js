// An angler's day, read from its records, and the records that each step adds to it. Nothing here touches the store; times
// are milliseconds and never run backwards within a day, whatever the phone's clock does.

import { coin, dateOf, newId, stamp } from './ids.js';
import { other, swapState, welfare } from './rules.js';

/** For so long a tap can be taken back before it is sent. */
export const undoTime = 8000;

/** Reads a day from an outing's records, in their order. */
export function dayOf(records) {
  const day = {
    id: null, last: 0, at: 0, told: 0, readings: [], periods: [], flies: {}, fish: [], reports: [], off: null, lost: null, moved: 0, ended: null, waits: 0,
  };
  for (const r of records) {
    day.last = r.seq;
    if (r.sent === 'undone') continue;
    day.at = Math.max(day.at, r.at);
    if (r.kind !== 'swap_now') day.told = Math.max(day.told, r.at); // what the angler told, not what the phone did
    readers[r.kind]?.(day, r);
  }
  day.period = day.periods.findLast((p) => !p.end) ?? null;
  return day;
}

const readers = {
  outing(day, r) {
    Object.assign(day, { id: r.id, account: r.account, trial: r.trial, enrolment: r.enrolment, pack: r.pack, for: r.for, water: r.body.water, began: Date.parse(r.body.started_at), early: r.early ?? null });
    if (r.body.water_temperature) day.readings.push(r.body.water_temperature);
  },
  temperature: (day, r) => day.readings.push({ value: r.body.value, unit: r.body.unit }),
  period(day, r) {
    const { unit, half, test_fly, control_fly } = r.body;
    day.flies = { test_fly, control_fly };
    day.periods.push({ id: r.id, unit, half, n: r.n, arrangement: r.arrangement, began: Date.parse(r.body.started_at), swapNow: null, could: true, end: null, fish: [] });
  },
  swap_now(day, r) {
    const p = periodOf(day, r.id);
    if (p) Object.assign(p, { swapNow: r.at, by: r.by });
  },
  period_end(day, r) {
    const p = periodOf(day, r.id);
    if (p) p.end = { at: Date.parse(r.body.ended_at), reason: r.body.reason };
  },
  catch(day, r) {
    const fish = { ...r.body, id: r.id, seq: r.seq, tried: r.tried, sent: r.sent, until: r.until, void: false };
    day.fish.push(fish);
    periodOf(day, fish.period)?.fish.push(fish);
  },
  amend(day, r) {
    const fish = day.fish.find((f) => f.id === r.id);
    if (fish && r.sent !== 'refused') Object.assign(fish, r.body);
  },
  fly_lost: (day, r) => { day.lost = r; },
  deviation(day, r) {
    const { kind } = r.body, from = Date.parse(r.body.from), period = periodOf(day, r.body.period);
    day.reports.push(r);
    if (kind === 'fly_lost') Object.assign(day, { lost: null, flies: {} });
    if (kind === 'off_trial') day.off = from;
    if (kind === 'back_on') day.off = null;
    if (kind === 'moved') Object.assign(day, { water: r.body.water, moved: from });
    if (kind === 'could_not_swap' && period) period.could = false;
    if (kind === 'wrong_way_round' && period && !r.body.until) period.arrangement = other(period.arrangement);
  },
  outing_end(day, r) { day.ended = { at: Date.parse(r.body.ended_at), ...r.body }; },
};

const periodOf = (day, id) => day.periods.find((p) => p.id === id);

/**
 * The time to note for something that happens now: not before what is noted already, unless the phone's clock was hours
 * ahead when that was noted: then it has been put right, and what comes is not to be wrong too.
 */
export const moment = (day, now) => (day.at - now > 3 * 3_600_000 ? now : Math.max(now, day.at));

/** Whether a fish may still be taken back unsent; a clock that was put back does not hold it for longer. */
export const held = (record, now) => record.until > now && record.until - now <= undoTime;

/** What a water temperature asks of the pack's angler on the day of a time: let where the organiser lets him fish on where the trial stops. */
export function asks(pack, measure, at) {
  const state = welfare(pack.protocol, measure);
  return state === 'stop' && pack.leave?.includes(dateOf(at)) ? 'let' : state;
}

/** What the latest water temperature asks for. */
export const warmth = (day, pack) => asks(pack, day.readings.at(-1), day.began);

/** How far the swap rule has come in the period that goes on. A prompt that was shown stays, until a fish that brought it is taken back. */
export function swapOf(day, protocol, now) {
  const p = day.period, state = swapState(protocol, p.began, p.fish, now);
  const shown = p.swapNow && !(p.by === 'fish' && state.due === null);
  return { ...state, shown: shown ? p.swapNow : null };
}

/** The round to rig next: {unit, half, arrangement, n}, or null when the carried rounds have run out. */
export function nextRound(day, pack) {
  const half = secondHalf(day, pack);
  if (half) return half;
  const unit = pack.units.find((u) => !u.opened);
  return unit ? { unit: unit.id, half: 1, arrangement: unit.first, n: unit.n, coin: unit.coin, check: unit.same_fly_check } : null;
}

/** The second half of a block that was begun: in this outing after a swap, in another where the protocol lets it. */
function secondHalf(day, pack) {
  const open = pack.half, last = day.periods.at(-1), { design, draw } = pack.protocol;
  if (!open || open.water !== day.water) return null;
  const here = design === 'paired' && last?.unit === open.unit && last.end?.reason === 'swap_rule' && day.moved <= last.began;
  const elsewhere = !last && open.outing !== day.id && (design === 'paired_by_outing' || draw.block_may_span_outings && open.swapped);
  if (!here && !elsewhere) return null;
  const unit = pack.units.find((u) => u.id === open.unit);
  return { unit: open.unit, half: 2, arrangement: other(open.first), n: open.n, coin: unit?.coin, check: unit?.same_fly_check };
}

const draft = (day, kind, id, at, body, more) => ({
  key: `${kind}:${id}`, account: day.account, trial: day.trial, enrolment: day.enrolment, pack: day.pack, for: day.for ?? null, outing: day.id, kind, id, at, body,
  sent: 'waiting', until: 0, tried: false, answer: null, ...more,
});

/**
 * Opens an outing of a pack at a water. temperature is a measure or null without a thermometer, cell a place as
 * coarse as the protocol's grid or null. late, for who has fished
 * already, is {since, rigged, fish: [pattern codes]}: these fish are noted, and not analysed, since chance had not spoken.
 */
export function openOuting(pack, { water, temperature, conditions, cell, late }, now) {
  const id = newId(now), began = late ? Math.min(late.since, now) : now;
  const body = { water, started_at: stamp(began), protocol_version: pack.version };
  if (pack.for) body.for = pack.for;
  if (temperature) body.water_temperature = temperature;
  if (conditions) body.conditions = conditions;
  if (cell) body.place = { cell };
  if (late) Object.assign(body, { started_late: true, note: late.rigged });
  const day = { account: pack.account, trial: pack.trial, enrolment: pack.enrolment, pack: pack.key, for: pack.for ?? null, id };
  return draft(day, 'outing', id, now, body, { early: late?.fish.length ? { since: began, fish: late.fish } : null });
}

/** A coin for a round, when the carried rounds have run out: the record, and the pack that carries it. */
export function drawCoin(day, pack, now) {
  const at = moment(day, now), id = newId(at), first = coin() ? 'test_lower' : 'control_lower';
  const n = Math.max(0, ...pack.units.map((u) => u.n)) + 1;
  return {
    records: [draft(day, 'unit', id, at, { drawn_by: 'phone', first, drawn_at: stamp(at), ...(day.for && { for: day.for }) })],
    pack: { ...pack, units: [...pack.units, { id, n, first, same_fly_check: false, opened: false, coin: true }] },
  };
}

/**
 * Begins the next round's period as rigged. fished is the arrangement on the line where it is not the drawn one, flies the numbers
 * of the two flies that are on, those of the half before unless said.
 */
export function begin(day, pack, now, fished = null, flies = day.flies) {
  const round = nextRound(day, pack), at = moment(day, now), id = newId(at);
  const body = { outing: day.id, unit: round.unit, half: round.half, confirmed: true, started_at: stamp(at) };
  if (fished && fished !== round.arrangement) body.fished = fished;
  for (const fly of ['test_fly', 'control_fly']) if (flies[fly]) body[fly] = flies[fly];
  const records = [draft(day, 'period', id, at, body, { arrangement: fished ?? round.arrangement, n: round.n })];
  if (day.early && day.periods.length === 0) records.push(...earlyFish(day, pack, id, at));
  const first = round.half === 1 ? round.arrangement : null;
  return {
    records,
    pack: {
      ...pack, units: pack.units.map((u) => (u.id === round.unit ? { ...u, opened: true } : u)),
      half: first ? { unit: round.unit, first, n: round.n, outing: day.id, water: day.water, swapped: false } : null,
    },
  };
}

/** The fish caught before the outing was opened: spread evenly over the time, since nobody noted when. */
function earlyFish(day, pack, period, at) {
  const { since, fish } = day.early, step = (at - since) / (fish.length + 1);
  return fish.map((taken, i) => {
    const caught = Math.round(since + step * (i + 1));
    return draft(day, 'catch', newId(at), at, { period, taken_pattern: taken, species: pack.protocol.species[0], caught_at: stamp(caught), noted_at: stamp(at), note: 'caught before the outing was opened; the time is a guess' });
  });
}

/**
 * A fish of the period that goes on, and with it, when it brings the swap, the moment at which the phone says so (due).
 * taken is a pattern's code, unknown or other.
 */
export function logFish(day, protocol, taken, now, more = {}) {
  const at = moment(day, now), species = day.fish.at(-1)?.species ?? protocol.species[0], p = day.period;
  const fish = draft(day, 'catch', newId(at), at, { period: p.id, taken_pattern: taken, species, caught_at: stamp(at), ...more }, { until: now + undoTime });
  const due = protocol.design === 'paired' && !swapOf(day, protocol, at).shown && swapState(protocol, p.began, [...p.fish, fish.body], at).due;
  return { records: due ? [fish, swapNow(day, due, at)] : [fish], due: !!due };
}

/** The correction of a fish that may have been sent. */
export function amendFish(day, fish, reason, changes, now) {
  const at = moment(day, now);
  return draft(day, 'amend', fish.id, at, { reason, ...changes }, { key: `amend:${newId(at)}` });
}

/** The moment at which the phone said "swap now". */
export const swapNow = (day, by, now) => draft(day, 'swap_now', day.period.id, moment(day, now), null, { key: `swap_now:${newId(now)}`, by, sent: 'kept' });

function endPeriod(day, at, reason) {
  const p = day.period, body = { ended_at: stamp(at), reason };
  if (p.swapNow && p.swapNow <= at) body.swap_now_at = stamp(p.swapNow);
  return draft(day, 'period_end', p.id, at, body);
}

/** Ends the period by the swap rule; the next round is begun once it is rigged. */
export function swapped(day, pack, now) {
  const at = moment(day, now), half = pack.half;
  return {
    records: [...lostForGood(day, at), endPeriod(day, at, 'swap_rule')],
    pack: { ...pack, half: half && half.unit === day.period.unit ? { ...half, swapped: true } : half },
  };
}

/** Ends the period for another reason. */
export function stopPeriod(day, now, reason) {
  const at = moment(day, now);
  return [...lostForGood(day, at), endPeriod(day, at, reason)];
}

/** A report of what was not as planned; more is {until, water, note, fly}. */
export function report(day, kind, from, now, more = {}) {
  const at = moment(day, now), id = newId(at), body = { outing: day.id, kind, from: stamp(from) };
  if (!['off_trial', 'back_on', 'moved'].includes(kind)) body.period = day.period.id;
  if (more.until) body.until = stamp(more.until);
  for (const name of ['water', 'note', 'fly']) if (more[name]) body[name] = more[name];
  return draft(day, 'deviation', id, at, body);
}

/** A fly is gone: noted on the phone, reported when it is retied or the period ends. */
export const flyGone = (day, from, now) => draft(day, 'fly_lost', newId(now), moment(day, now), { from: stamp(from), period: day.period.id }, { sent: 'kept' });

/** The fly is on again; fly is its number in the envelope, 0 when it has none. */
export function retied(day, now, fly) {
  const at = moment(day, now);
  return report(day, 'fly_lost', Date.parse(day.lost.body.from), now, { until: at, fly });
}

const lostForGood = (day, at) => (day.lost ? [report(day, 'fly_lost', Date.parse(day.lost.body.from), at)] : []);

/** Another reading of the water's temperature. */
export function reading(day, measure, now) {
  const at = moment(day, now);
  return draft(day, 'temperature', newId(at), at, { at: stamp(at), ...measure });
}

/** Moves to other water, which ends a block. */
export function move(day, water, now) {
  const at = moment(day, now);
  return [...(day.period ? [...lostForGood(day, at), endPeriod(day, at, 'moved')] : []), report({ ...day, period: null }, 'moved', at, now, { water })];
}

/** Whether nothing was told for so long that the angler has gone home without closing. */
export const forgotten = (day, now) => now - day.told > 12 * 3_600_000;

/** Closes the outing, a blank one too; endedAt not before the last thing told. */
export function close(day, now, { endedAt, reason, notLogged }) {
  const at = Math.max(day.told, endedAt);
  return [
    ...(day.period ? [...lostForGood(day, at), endPeriod(day, at, 'outing_ended')] : []),
    draft(day, 'outing_end', day.id, moment(day, now), { ended_at: stamp(at), reason, not_logged: notLogged }),
  ];
}
