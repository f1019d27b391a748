// What a phone carries to the water: the trials that its angler has joined, with their rule sheets and the next rounds.

import { newId } from './ids.js';
import { call, read, readAll } from './link.js';
import { alterPack, packsOf, standing } from './store.js';

/**
 * Brings the account's packs up to date, its own and those of anglers for whom it may note, and fetches rounds up to what
 * each protocol lets a phone carry. Throws Offline. Rounds are left as they are while one of the phone's own coin waits.
 */
export async function prepare(me) {
  const keys = [];
  for (const club of me.clubs) {
    for (const summary of (await read(me.id, `/v1/clubs/${club.id}/trials`))?.items ?? []) {
      if (summary.source !== 'drawn' || !['open', 'paused', 'closed'].includes(summary.state)) continue;
      const base = `/v1/trials/${summary.id}`, own = await read(me.id, `${base}/enrolment`), noting = (await read(me.id, `${base}/noting`))?.items ?? [];
      const whose = [...(own && !own.left_at ? [{ enrolment: own.id, own: true, pseudonym: own.pseudonym, place: own.consent.place_coarse }] : []), ...noting];
      if (!whose.length) continue;
      const trial = { id: summary.id, title: summary.title, state: summary.state, version: (await read(me.id, base)).protocol_version, protocol: await read(me.id, `${base}/protocol`) };
      for (const angler of whose) keys.push((await packed(me, trial, angler)).key);
    }
  }
  for (const pack of await packsOf(me.id)) {
    if (!keys.includes(pack.key)) await alterPack(pack.key, (p) => ({ ...p, state: 'gone' }));
  }
}

/** The pack of one angler in one trial. */
async function packed(me, trial, { enrolment, own, name, pseudonym, place = false }) {
  const base = `/v1/trials/${trial.id}`, key = `${me.id}/${enrolment}`, whose = own ? '' : `?for=${enrolment}`, { protocol } = trial;
  const waiting = (await standing(me.id, 'waiting')).filter((r) => r.enrolment === enrolment);
  let units = (await read(me.id, `${base}/units${whose}`)).items;
  const fetched = [];
  if (trial.state === 'open' && !waiting.some((r) => r.kind === 'unit')) {
    for (let n = units.filter(waits).length; n < protocol.draw.trip_units; n++) {
      const id = newId();
      fetched.push(id);
      if ((await call(me.id, 'PUT', `${base}/units/${id}`, own ? {} : { for: enrolment })).status >= 300) break;
    }
    if (fetched.length) units = (await read(me.id, `${base}/units${whose}`)).items;
  }
  const half = await openHalf(me, base, units, own ? null : enrolment), leave = await leaveOf(me.id, trial.id, pseudonym);
  return alterPack(key, (pack) => ({
    ...pack, key, account: me.id, trial: trial.id, enrolment, leave, for: own ? null : enrolment, name: own ? null : name ?? pseudonym, place, title: trial.title, state: trial.state, version: trial.version,
    protocol, half: waiting.length ? pack?.half ?? half : half, units: merged(pack?.units ?? [], units), here: [...(pack?.here ?? []), ...fetched], carriedAt: Date.now(),
  }));
}

/** The days on which the organiser lets an angler fish on in water at which the trial stops. */
const leaveOf = async (account, trial, pseudonym) => ((await read(account, `/v1/trials/${trial}/welfare-overrides`))?.items ?? []).filter((o) => o.angler === pseudonym).map((o) => o.day);

const waits = (unit) => !unit.opened_at && !unit.lost_at;

/** The service's rounds, with what only this phone knows yet: which it has opened, and those of its own coin. */
function merged(mine, theirs) {
  const known = new Map(mine.map((u) => [u.id, u]));
  const listed = theirs.map(({ id, n, first, same_fly_check, drawn_by, ...u }) => ({
    id, n, first, same_fly_check, coin: drawn_by === 'phone', opened: !waits(u) || (known.get(id)?.opened ?? false), lost: !!u.lost_at,
  }));
  const ids = new Set(theirs.map((u) => u.id));
  return [...listed, ...mine.filter((u) => u.coin && !ids.has(u.id))];
}

/** The block of which only the first half was fished, as the service knows it: a phone that was not there goes on with it. */
async function openHalf(me, base, units, enrolment) {
  const unit = units.findLast((u) => u.opened_at);
  if (!unit) return null;
  const outing = (await readAll(me.id, `${base}/outings`, enrolment)).at(-1);
  const periods = outing ? (await read(me.id, `${base}/outings/${outing.id}/periods`))?.items ?? [] : [];
  const of = periods.filter((p) => p.unit === unit.id);
  if (of.length !== 1 || of[0].half !== 1) return null;
  return { unit: unit.id, first: unit.first, n: unit.n, outing: outing.id, water: outing.water, swapped: of[0].end?.reason === 'swap_rule' };
}

/** The rounds that a pack carries. */
export const carried = (pack) => pack.units.filter((u) => !u.opened);

/** The carried rounds that another phone fetched: it may be lost, or have fished them. */
export const elsewhere = (pack) => carried(pack).filter((u) => !u.coin && !pack.here.includes(u.id));

/** What flight mode needs of the browser: {secure, page, storage}. */
export async function ready(page) {
  const secure = window.isSecureContext && 'serviceWorker' in navigator;
  return { secure, page: secure && await stored(page), storage: await navigator.storage?.persisted?.() ?? false };
}

/** Whether the page and all of its files lie on the phone. */
async function stored(page) {
  const registration = await navigator.serviceWorker.getRegistration(page);
  if (!registration?.active) return false;
  const names = (await caches.keys()).filter((n) => n.startsWith(`${page} `));
  for (const name of names) if (await (await caches.open(name)).match(page)) return true;
  return false;
}

/** Asks the browser not to throw the records away when it runs short of room. */
export const askToKeep = async () => (await navigator.storage?.persist?.()) ?? false;
