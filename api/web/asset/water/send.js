// Sends what waits on the phone, in the order in which it happened. Every record carries its own id, so that sending it
// again changes nothing; a refusal is kept with its record, and the rest goes on.

import { held } from './day.js';
import { call, Offline, otherSession, whoAmI } from './link.js';
import { alter, byKey, standing } from './store.js';

const most = 200; // fish in one request

/**
 * Sends the account's records. Resolves with {state, until}: sent (nothing waits), held (the next may still be taken
 * back, until then), offline (at least until then), sign-in, other (somebody else has signed in), busy (another page is sending).
 */
export function send(account, told = () => {}) {
  const alone = navigator.locks ?? { request: (name, options, act) => act(true) }; // an old browser: sending twice does no harm
  return alone.request('evenrig-send', { ifAvailable: true }, async (lock) => {
    if (!lock) return { state: 'busy' };
    try {
      return await sendAll(account, told);
    } catch (e) {
      if (e instanceof Offline) return { state: 'offline' };
      throw e;
    }
  });
}

async function sendAll(account, told) {
  if ((await standing(account, 'waiting')).length === 0) return { state: 'sent' };
  const me = await whoAmI();
  if (!me) return { state: 'sign-in' };
  if (me.id !== account) return { state: 'other' };
  for (;;) {
    const [first, ...rest] = await standing(account, 'waiting');
    if (!first) return { state: 'sent' };
    if (held(first, Date.now())) return { state: 'held', until: first.until };
    const stop = first.kind === 'catch' ? await sendFish(first, rest) : await sendOne(first);
    told();
    if (stop) return stop;
  }
}

/** Marks a record as tried before it leaves: from then on it may stand on the service, and is not changed in place. */
const tried = (record) => alter(record.seq, (r) => (r.sent === 'waiting' ? { ...r, tried: true } : null));

async function sendOne(record) {
  const now = await tried(record);
  if (!now) return null;
  return settle(now, await call(now.account, ...await requestOf(now)));
}

/** Sends a run of fish in one request. */
async function sendFish(first, rest) {
  const run = [first];
  for (const r of rest) {
    if (r.kind !== 'catch' || r.trial !== first.trial || held(r, Date.now()) || run.length === most) break;
    run.push(r);
  }
  if (run.length === 1) return sendOne(first);
  const going = (await Promise.all(run.map(tried))).filter(Boolean);
  if (!going.length) return null;
  const answer = await call(first.account, 'POST', `/v1/trials/${first.trial}/catches`, going.map((r) => ({ id: r.id, ...r.body })));
  if (answer.status !== 200) return whole(answer) ?? sendOne(first); // one by one, so that one bad fish stops no other
  for (const outcome of answer.body) {
    await settle(going[outcome.line - 1], { status: outcome.http_status, body: outcome.problem ?? { receipt: outcome.receipt }, version: null });
  }
  return null;
}

/** What stops all sending: no session or somebody else's, too many requests, a service that fails and may say how long to leave it alone. */
function whole(answer) {
  const { status, wait } = answer;
  if (otherSession(answer)) return { state: 'other' };
  if (status === 401) return { state: 'sign-in' };
  if (status === 429) return { state: 'held', until: Date.now() + 1000 * Math.max(1, wait) };
  return status >= 500 || status === 408 ? { state: 'offline', until: Date.now() + 1000 * (wait ?? 0) } : null;
}

async function settle(record, answer) {
  const stop = whole(answer);
  if (stop) return stop;
  const { status, body, version } = answer;
  if (!body || status < 200 || status === 204 || status >= 300 && status < 400) return { state: 'offline' }; // not our service
  const good = status === 200 || status === 201;
  await alter(record.seq, (r) => ({ ...r, sent: good ? 'sent' : 'refused', answer: good ? { version: version ?? body.version ?? null, receipt: body.receipt ?? null, warnings: body.warnings ?? [] } : { status, problem: body } }));
  if (good && record.kind === 'amend') await newVersion(record.id, version);
  return null;
}

async function newVersion(fish, version) {
  const record = await byKey(`catch:${fish}`);
  if (record) await alter(record.seq, (r) => ({ ...r, answer: { ...r.answer, version } }));
}

/** The request that a record is sent by. */
async function requestOf(record) {
  const { trial, id, kind, body } = record, base = `/v1/trials/${trial}`;
  switch (kind) {
    case 'outing_end': return ['PUT', `${base}/outings/${id}/end`, body];
    case 'period_end': return ['PUT', `${base}/periods/${id}/end`, body];
    case 'temperature': return ['PUT', `${base}/outings/${record.outing}/temperatures/${id}`, body];
    case 'amend': return ['PATCH', `${base}/catches/${id}`, body, { 'If-Match': await versionOf(record) }];
    case 'catch': return ['PUT', `${base}/catches/${id}`, body];
    default: return ['PUT', `${base}/${kind}s/${id}`, body];
  }
}

/** The version that a correction was made to; after a refusal, the one that stands now. */
async function versionOf(record) {
  const fish = await byKey(`catch:${record.id}`);
  const known = record.again ? null : fish?.answer?.version;
  return known ?? (await call(record.account, 'GET', `/v1/trials/${record.trial}/catches/${record.id}`)).version ?? '"1"';
}

/** Lets refused records try again. */
export async function tryAgain(account) {
  for (const r of await standing(account, 'refused')) await alter(r.seq, (now) => ({ ...now, sent: 'waiting', again: true }));
}
