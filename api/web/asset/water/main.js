// A page at the water: what is going on, kept in app, and one screen for it. Two pages use it: /water for members, whose
// records are sent, and /alone for who has no account, whose records stay.

import { whoAmI, Offline } from './link.js';
import * as store from './store.js';
import { dayOf, forgotten, held, swapNow, swapOf } from './day.js';
import { send } from './send.js';
import { feel } from './press.js';
import { button, filledIn, h, say, show, speak, t, tn } from './page.js';
import { closing } from './closing.js';
import { fishing } from './fishing.js';
import { list, one } from './list.js';
import { opening } from './opening.js';
import { reporting } from './reporting.js';

/** What the screens draw from: the member, his packs, the outing in view, how sending stands, and what could not be kept. */
export const app = { alone: false, who: null, session: 'unknown', packs: [], days: [], day: null, pack: null, counts: { waiting: 0, sent: 0, refused: 0 }, link: 'unknown', broken: null, aside: false, shows: '' };

const screens = { open: opening, day: fishing, fish: list, one, report: reporting, close: closing };

/** Goes to a screen: go('report', outing, kind). */
export function go(...parts) {
  const to = `#${parts.map(encodeURIComponent).join('/')}`;
  if (location.hash === to || !location.hash && to === '#') return draw();
  location.hash = to;
}

const where = () => location.hash.slice(1).split('/').map(decodeURIComponent);

let drawn = 0;

/** Reads what the phone keeps, and draws the screen; of several at once the last, and by itself over nothing that is being filled in. */
export async function draw(byItself = false) {
  const [name, ...rest] = where(), mine = ++drawn;
  try {
    await load(['day', 'fish', 'report', 'close'].includes(name) ? rest[0] : name === 'one' ? rest[1] : null);
  } catch {
    return notKept();
  }
  strip();
  if (app.broken) return notKept();
  const screen = app.who && screens[name] || screens[''];
  const content = await screen(...rest);
  if (mine === drawn && !(byItself && filledIn())) show(app.who ? [name, ...rest].join('/') : 'home', content);
}

/** Draws what has changed by itself; a form that is being filled in is left alone. */
async function refresh() {
  if (!filledIn()) return draw(true);
  await countAll();
  strip();
}

async function load(outing) {
  app.packs = app.who ? (await store.packsOf(app.who.id)).sort((a, b) => !!a.for - !!b.for) : []; // one's own first
  app.days = app.who ? await openDays(app.who.id) : [];
  const records = outing && app.who ? await store.ofOuting(app.who.id, outing) : [];
  app.day = records.length ? dayOf(records) : null;
  app.pack = app.day && app.packs.find((p) => p.key === app.day.pack);
  if (!app.pack) app.day = null;
  await countAll();
}

async function countAll() {
  for (const sent of Object.keys(app.counts)) app.counts[sent] = app.who ? await store.count(app.who.id, sent) : 0;
}

/** The outings that were opened on this phone and not closed. */
async function openDays(account) {
  const ended = new Set((await store.ofKind(account, 'outing_end')).map((r) => r.id));
  return (await store.ofKind(account, 'outing')).filter((r) => !ended.has(r.id));
}

/**
 * Keeps records, and the packs that they change, and goes on from them; said is said once they are on the phone's disk,
 * not before. Resolves with false when they are not kept: the screen then says so.
 */
export async function keep(records, { packs = [], day = null, said = '', how = 'saved' } = {}) {
  try {
    await store.add(records, { day, packs });
  } catch (e) {
    if (e instanceof store.Moved) say(t('said.elsewhere'));
    else app.broken = e;
    await draw();
    return false;
  }
  feel(how);
  if (said) say(said);
  changed();
  await draw();
  return true;
}

/** Changes a record that stands, if it still may be. */
export async function change(seq, how) {
  const done = await store.alter(seq, how);
  changed();
  await draw();
  return done;
}

const others = new BroadcastChannel('evenrig-water');
others.onmessage = () => refresh();

function changed() {
  others.postMessage('changed');
  sendSoon(200);
}

/** The strip at the top: what is on the phone and what is sent, always. */
function strip() {
  const { waiting, sent, refused } = app.counts;
  const text = app.who ? [tn('strip.waiting', waiting), ...(app.alone ? [] : [tn('strip.sent', sent)]), ...(refused ? [tn('strip.refused', refused)] : [])].join(' · ') : '';
  document.querySelector('#counts').replaceChildren(app.who ? h('a', { href: '#kept', className: refused ? 'look' : '' }, text) : '');
  document.querySelector('#link').textContent = app.who && ['sign-in', 'other'].includes(app.link) ? t(`link.${app.link}`) : '';
}

/** What could not be kept is no fish on the phone: say so until the angler has seen it. */
function notKept() {
  feel('loud');
  show('broken', h('section.loud', { role: 'alertdialog', ariaLabel: t('broken.title') }, h('h1', {}, t('broken.title')), h('p', {}, t('broken.text')), h('p', {}, t('broken.card')),
    button('again', t('broken.again'), async () => {
      app.broken = null;
      await draw();
    }, 'main')));
}

let timer = null, at = Infinity; // at: by the clock that nobody can set

/** Sends what waits, soon. */
export function sendSoon(delay = 0) {
  if (app.alone) return;
  const due = performance.now() + delay;
  if (timer && at <= due) return;
  clearTimeout(timer);
  at = due;
  timer = setTimeout(sendNow, delay);
}

let pause = 2000;

async function sendNow() {
  timer = null;
  at = Infinity;
  if (!app.who) return;
  const { state, until } = await send(app.who.id, () => others.postMessage('changed'));
  if (state !== 'busy') app.link = state;
  if (state === 'sign-in') app.session = 'signed-out';
  pause = state === 'offline' ? Math.min(120_000, pause * 2) : 2000;
  if (state === 'held') sendSoon(Math.max(200, until - Date.now()));
  if (state === 'offline') sendSoon(Math.max(pause, (until ?? 0) - Date.now()));
  if (state === 'other') await recognise();
  await (state === 'other' ? draw() : refresh());
}

/** Finds out whose session this is. Without signal it stays who used the phone last. */
export async function recognise() {
  try {
    const me = await whoAmI();
    app.session = me ? 'signed-in' : 'signed-out';
    if (me) {
      app.who = { id: me.id, name: me.name };
      await store.setFact('who', app.who);
    }
    return me;
  } catch (e) {
    if (!(e instanceof Offline)) throw e;
    app.session = 'offline';
    return null;
  }
}

/** Each second: a swap that has come due is said, once; an undo that has run out goes. */
async function tick() {
  if (document.hidden || app.broken) return;
  const { day, pack } = app, now = Date.now();
  if (day?.period && !day.ended && !day.off && !forgotten(day, now) && pack.protocol.design === 'paired' && where()[0] === 'day') {
    const swap = swapOf(day, pack.protocol, now);
    if (swap.due && !swap.shown) {
      await keep([swapNow(day, swap.due, now)], { day, said: t('swap.title'), how: 'loud' });
      return;
    }
  }
  const shows = `${Math.floor(now / 60_000)} ${!!undoing(now)}`;
  if (where()[0] === 'day' && shows !== app.shows) {
    app.shows = shows;
    await draw();
  }
}

/** The fish that can still be taken back unsent. */
export const undoing = (now) => app.day?.fish.findLast((f) => held(f, now) && f.sent === 'waiting') ?? null;

/**
 * Begins: reads the words, keeps the page on the phone, finds out who it is. Each page adds its own screens; '' is its
 * first. An account of the page's own, instead of a member's, never sends.
 */
export async function start(page, own, account = null) {
  const root = document.documentElement;
  Object.assign(screens, own);
  try {
    speak(await (await fetch(`/water/words.${root.lang}.json`)).json(), root.lang);
  } catch {
    document.querySelector('main').textContent = document.querySelector('noscript').textContent;
    return;
  }
  if ('serviceWorker' in navigator) navigator.serviceWorker.register(`${page}/worker.js`, { scope: page }).catch(() => {});
  addEventListener('hashchange', () => {
    if (where()[0] !== 'day') app.aside = false;
    draw();
  });
  addEventListener('online', () => sendSoon());
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden) sendSoon();
  });
  app.alone = !!account;
  app.stores = await store.works();
  if (app.stores) app.who = account ?? await store.fact('who') ?? null;
  const known = app.who?.id;
  if (app.who && !location.hash) {
    const days = await openDays(app.who.id);
    if (days.length === 1) history.replaceState(null, '', `#day/${days[0].id}`);
  }
  await draw();
  setInterval(tick, 1000);
  if (app.alone) return;
  await recognise();
  if (app.who?.id !== known) go('');
  await refresh();
  sendSoon();
}
