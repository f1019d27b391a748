// Ready for the valley: everything that must be on the phone before it loses signal, checked one by one.

import { stamp } from './ids.js';
import { Offline, call } from './link.js';
import * as store from './store.js';
import { askToKeep, carried, elsewhere, prepare, ready } from './carry.js';
import { roundsFor } from './rules.js';
import { once } from './press.js';
import { button, h, say, stepper, t, tn } from './page.js';
import { app, draw, recognise, sendSoon } from './main.js';

const trip = { days: 1, hours: 6 };
let install = null, clockOff = null;

addEventListener('beforeinstallprompt', (e) => {
  e.preventDefault();
  install = e;
  if (location.hash === '#ready') draw();
});

/** The check. */
export async function readiness() {
  const packs = app.packs.filter((p) => p.state !== 'gone'), state = await ready('/water'), installed = matchMedia('(display-mode: standalone)').matches || navigator.standalone;
  const line = (good, key, more) => h(`li.${good ? 'good' : 'bad'}`, {}, h('b', {}, t(good ? 'ready.yes' : 'ready.no')), ' ', t(`ready.${key}_${good ? 'yes' : 'no'}`), ...(more ? [' ', more] : []));
  return [
    h('h1', {}, t('ready.title')), h('p', {}, t('ready.text')),
    button('carry', t('ready.carry'), once(carry), 'main'),
    h('ul.checks', {},
      state.secure ? line(state.page, 'page') : h('li.bad', {}, h('b', {}, t('ready.no')), ' ', t('ready.insecure', { address: location.origin })),
      ...(packs.length ? packs.map(rounds) : [h('li.bad', {}, h('b', {}, t('ready.no')), ' ', t('home.no_pack'))]),
      line(state.storage, 'storage', state.storage ? null : button('keep', t('ready.keep'), once(async () => {
        say(t(await askToKeep() ? 'ready.storage_yes' : 'ready.refused'));
        await draw();
      }))),
      clockOff !== null ? line(Math.abs(clockOff) < 120_000, 'clock', Math.abs(clockOff) < 120_000 ? null : tn('ready.clock_off', Math.round(Math.abs(clockOff) / 60_000))) : null,
      line(!!installed, 'installed', installed ? null : install ? button('install', t('ready.install'), () => install.prompt()) : t('ready.install_how')),
      !navigator.onLine && state.page ? line(true, 'flight') : h('li', {}, h('b', {}, t('ready.try')), ' ', t('ready.flight_how'))),
    stepper(t('ready.days'), { value: trip.days, step: 1, least: 1, most: 7 }, (v) => { trip.days = v; draw(); }),
    stepper(t('ready.hours'), { value: trip.hours, step: 1, least: 1, most: 12 }, (v) => { trip.hours = v; draw(); }),
    ...packs.flatMap(lostPhone), h('a.button', { href: '#' }, t('back.home')),
  ].filter(Boolean);
}

/** The rounds of one trial against what the trip takes. */
function rounds(pack) {
  const n = carried(pack).length, needs = roundsFor(pack.protocol, trip.days, trip.hours), most = n >= pack.protocol.draw.trip_units, short = needs !== null && n < needs, enough = n > 0 && (!short || most);
  return h(`li.${enough ? 'good' : 'bad'}`, {}, h('b', {}, t(enough ? 'ready.yes' : 'ready.no')), ' ', pack.title, pack.for ? ` (${t('for.name', { name: pack.name })})` : '', ': ', tn('ready.rounds', n), ' ',
    needs === null ? t('ready.by_fish') : tn('ready.needs', needs), short || !n ? ` ${t(most ? 'ready.coin' : 'ready.fetch')}` : '');
}

/** Brings what the phone carries up to date, and says so. Resolves with true when it could. */
export async function carry() {
  let done = false;
  say(t('ready.carrying'));
  try {
    const { skew } = await call(null, 'GET', '/healthz');
    clockOff = skew;
    const me = await recognise();
    if (!me) return say(t(app.session === 'offline' ? 'link.offline' : 'sign.again'));
    await prepare(me);
    await askToKeep();
    done = true;
    say(t('ready.carried'));
    sendSoon();
  } catch (e) {
    if (!(e instanceof Offline)) throw e;
    say(t('link.offline'));
  }
  await draw();
  return done;
}

/** Rounds that another phone fetched: if it is lost they are closed, never drawn again. */
function lostPhone(pack) {
  const rounds = elsewhere(pack);
  if (!rounds.length || app.session !== 'signed-in') return [];
  return [h('details', {}, h('summary', {}, t('lost_phone.title')), h('p', {}, tn('lost_phone.text', rounds.length, { first: rounds[0].n, last: rounds.at(-1).n })),
    button('adopt', t('lost_phone.adopt'), once(async () => {
      await store.alterPack(pack.key, (p) => ({ ...p, here: [...p.here, ...rounds.map((u) => u.id)] }));
      await draw();
    })),
    button('lost', t('lost_phone.close'), once(async () => {
      for (const u of rounds) await call(pack.account, 'POST', `/v1/trials/${pack.trial}/units/${u.id}/lost`, { lost_at: stamp(Date.now()) });
      await carry();
    })))];
}
