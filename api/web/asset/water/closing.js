// Closing an outing, a blank one too: why, how many fish were not logged, and the receipt.

import { clock, dateOf, nextAt } from './ids.js';
import * as steps from './day.js';
import { once } from './press.js';
import { button, field, h, pick, stepper, t, tn } from './page.js';
import { app, go, keep } from './main.js';

const reasons = ['planned', 'no_fish', 'weather', 'tired', 'warm_water', 'tackle', 'danger', 'other'];

/** The closing form of the outing in view. */
export function closing() {
  const { day, pack } = app;
  if (!day || day.ended) return [h('h1', {}, t('over.title')), h('a.button', { href: '#' }, t('back.home'))];
  const now = Date.now(), old = steps.forgotten(day, now);
  const so = { reason: steps.warmth(day, pack) === 'stop' ? 'warm_water' : 'planned', notLogged: 0 };
  const ended = h('input', { type: 'time', value: clock(old ? day.told : now), required: true }), fault = h('p.fault', { role: 'alert' });
  const close = once(async () => {
    const endedAt = nextAt(day.told, ended.value);
    fault.textContent = endedAt === null || endedAt > Math.max(day.told, Date.now()) ? t('close.need_time', { time: clock(day.told) }) : '';
    if (fault.textContent) return;
    if (await keep(steps.close(day, Date.now(), { ...so, endedAt }), { day, said: t('said.closed') })) go('kept', day.id);
  });
  const bare = day.fish.filter((f) => !f.void && !f.length).length;
  return [
    h('h1', {}, t('close.title')), h('p', {}, day.fish.length ? t('close.text') : t('close.blank')), old ? h('p.care', {}, t('close.old', { date: dateOf(day.began) })) : null,
    bare ? h('p', {}, tn('close.bare', bare), ' ', h('a', { href: `#fish/${day.id}` }, t('fish.list'))) : null,
    field(t('close.ended'), ended, t('close.ended_help', { time: clock(day.told) })),
    stepper(t('close.not_logged'), { value: 0, step: 1, least: 0, most: 500 }, (n) => { so.notLogged = n; }), h('p.small', {}, t('close.not_logged_help')),
    pick(t('close.why'), reasons.map((r) => [r, t(`why.${r}`)]), so.reason, (v) => { so.reason = v; }), fault, button('close', t('close.do'), close, 'main'), h('a.button', { href: `#day/${day.id}` }, t('back.day')),
  ];
}
