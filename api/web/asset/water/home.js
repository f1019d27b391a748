// The first screen: who is using the phone, the outings that are open, and the trials that can be carried.

import { call, Offline } from './link.js';
import * as store from './store.js';
import { clock, dateOf } from './ids.js';
import { carried } from './carry.js';
import { once } from './press.js';
import { button, field, h, say, t, tn } from './page.js';
import { app, draw, go, recognise, sendSoon } from './main.js';

/** The home screen. */
export function home() {
  if (!app.stores) return h('section.loud', { role: 'alert' }, h('h1', {}, t('broken.title')), h('p', {}, t('home.no_store')), h('p', {}, t('broken.card')));
  if (!app.who) return app.session === 'offline' ? [h('h1', {}, t('home.title')), h('p', {}, t('home.stranger'))] : app.session === 'unknown' ? h('h1', {}, t('home.title')) : signIn();
  const carries = app.packs.filter((p) => p.state !== 'gone');
  return [
    h('h1', {}, t('home.title')), h('p.small', {}, app.who.name),
    app.session === 'signed-out' ? h('section.care', {}, h('p', {}, t('sign.again')), ...signIn('h2')) : null,
    ...app.days.map(goOn),
    ...(carries.length ? carries.map(trial) : [h('p', {}, t('home.no_pack'))]),
    h('a.button', { href: '#ready' }, t('ready.title')), h('a.button', { href: '#kept' }, t('kept.title')), h('a.button', { href: '/clubs' }, t('home.table')),
    h('p.small', {}, t('home.card')), app.session === 'signed-in' ? button('out', t('sign.out'), signOut, 'plain') : null,
  ];
}

const goOn = (r) => h('section.outing', {}, h('h2', {}, r.body.water, ofWhom(app.packs.find((p) => p.key === r.pack))), h('p.small', {}, t('home.open_since', { date: dateOf(r.at), time: clock(r.body.started_at) })), h('a.button.main', { href: `#day/${r.outing}` }, t('home.go_on')));

const ofWhom = (pack) => (pack?.for ? ` · ${t('for.name', { name: pack.name })}` : '');

function trial(pack) {
  const n = carried(pack).length;
  return h('section.trial', {}, h('h2', {}, pack.title, ofWhom(pack)), h('p.small', {}, pack.state === 'open' ? tn('home.rounds', n) : t(`home.${pack.state}`)),
    app.days.some((d) => d.pack === pack.key) || pack.state === 'closed' ? null : button(`open ${pack.key}`, t('open.title'), () => go('open', pack.key), 'main'));
}

/** Signing in on the page itself, so that nothing on the phone is left behind. */
function signIn(heading = 'h1') {
  const email = h('input', { type: 'email', autocomplete: 'username', required: true }), password = h('input', { type: 'password', autocomplete: 'current-password', required: true }), fault = h('p.fault', { role: 'alert' });
  const enter = async (e) => {
    e.preventDefault();
    try {
      const { status, body } = await call(null, 'POST', '/v1/sessions', { email: email.value.trim(), password: password.value });
      if (status !== 201) return fault.replaceChildren(body?.detail ?? t('link.offline'));
      if (await recognise()) go('ready');
      sendSoon();
      await draw();
    } catch (failed) {
      if (!(failed instanceof Offline)) throw failed;
      fault.replaceChildren(t('link.offline'));
    }
  };
  return [h(heading, {}, t('sign.in')), h('p', {}, t('sign.text')), h('form', { onsubmit: enter }, field(t('sign.email'), email), field(t('sign.password'), password), fault, h('button.main', { type: 'submit' }, t('sign.do')))];
}

const signOut = once(async () => {
  try {
    await call(app.who.id, 'POST', '/v1/me/sign-out', {});
  } catch (e) {
    if (!(e instanceof Offline)) throw e;
    return say(t('sign.offline'));
  }
  app.who = null;
  app.session = 'signed-out';
  await store.setFact('who', null);
  await draw();
});
