// What a phone carries to the water: the trials that its angler has joined, with their rule sheets and the next rounds.

import { newId } from './ids.js';
import { call, read, readAll, whoAmI } from './link.js';
import { alterPack, packsOf, standing } from './store.js';

/**
 * Brings the account's packs up to date and fetches rounds up to what each protocol lets a phone carry. Throws Offline.
 * Rounds are left as they are while a round of the phone's own coin waits to be sent.
 */
export async function prepare(me) {
  const packs = [];
  for (const club of me.clubs) {
    for (const summary of (await read(`/v1/clubs/${club.id}/trials`))?.items ?? []) {
      if (summary.source !== 'drawn' || !['open', 'paused', 'closed'].includes(summary.state)) continue;
      const enrolment = await read(`/v1/trials/${summary.id}/enrolment`);
      if (enrolment && !enrolment.left_at) packs.push(await packed(me, summary, enrolment));
    }
  }
  return packs;
}

async function packed(me, summary, enrolment) {
  const base = `/v1/trials/${summary.id}`, key = `${me.id}/${enrolment.id}`;
  const { protocol_version: version } = await read(base), protocol = await read(`${base}/protocol`);
  const waiting = (await standing(me.id, 'waiting')).filter((r) => r.enrolment === enrolment.id);
  const coins = waiting.some((r) => r.kind === 'unit');
  let units = (await read(`${base}/units`)).items;
  const fetched = [];
  if (summary.state === 'open' && !coins) {
    for (let n = units.filter(waits).length; n < protocol.draw.trip_units; n++) {
      const id = newId();
      fetched.push(id);
      if ((await call('PUT', `${base}/units/${id}`, {})).status >= 300) break;
    }
    if (fetched.length) units = (await read(`${base}/units`)).items;
  }
  const half = await openHalf(base, units);
  return alterPack(key, (pack) => ({
    ...pack, key, account: me.id, trial: summary.id, enrolment: enrolment.id, pseudonym: enrolment.pseudonym, title: summary.title,
    state: summary.state, version, protocol, half: waiting.length ? pack?.half ?? half : half, units: merged(pack?.units ?? [], units), here: [...(pack?.here ?? []), ...fetched], carriedAt: Date.now(),
  }));
}

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
async function openHalf(base, units) {
  const unit = units.findLast((u) => u.opened_at);
  if (!unit) return null;
  const outing = (await readAll(`${base}/outings`)).at(-1);
  const periods = outing ? (await read(`${base}/outings/${outing.id}/periods`))?.items ?? [] : [];
  const of = periods.filter((p) => p.unit === unit.id);
  if (of.length !== 1 || of[0].half !== 1) return null;
  return { unit: unit.id, first: unit.first, n: unit.n, outing: outing.id, water: outing.water, swapped: of[0].end?.reason === 'swap_rule' };
}

/** The rounds that a pack carries. */
export const carried = (pack) => pack.units.filter((u) => !u.opened);

/** The carried rounds that another phone fetched: it may be lost, or have fished them. */
export const elsewhere = (pack) => carried(pack).filter((u) => !u.coin && !pack.here.includes(u.id));

/** Everything that must be on the phone for flight mode, by name: {page, rounds, storage, secure}. */
export async function ready(pack, page) {
  const secure = window.isSecureContext && 'serviceWorker' in navigator;
  return {
    secure, page: secure && await stored(page), rounds: pack ? carried(pack).length : 0,
    storage: await navigator.storage?.persisted?.() ?? false,
  };
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

export { packsOf, whoAmI };
