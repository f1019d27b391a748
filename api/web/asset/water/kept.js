// What is on the phone and what is sent: receipts, what the service refused, and the way out by a file.

import { clock, dateOf } from './ids.js';
import * as store from './store.js';
import { once } from './press.js';
import { button, h, say, t, tn } from './page.js';
import { codeName } from './fishing.js';
import { tryAgain } from './send.js';
import { app, draw, sendSoon } from './main.js';

const form = 'evenrig records 1';

/** The receipt of one outing, or of all. */
export async function kept(outing) {
  const all = (await store.ofAccount(app.who.id)).filter((r) => r.sent !== 'kept'), mine = outing ? all.filter((r) => r.outing === outing) : all;
  const refused = mine.filter((r) => r.sent === 'refused'), waiting = mine.filter((r) => r.sent === 'waiting');
  return [
    h('h1', {}, t(outing ? 'receipt.title' : 'kept.title')), h('p', {}, [tn('strip.waiting', waiting.length), tn('strip.sent', mine.filter((r) => r.sent === 'sent').length)].join(' · ')),
    waiting.length && app.link !== 'sent' ? h('p', {}, t(`link.${app.link}`)) : null,
    app.link === 'sign-in' ? h('a.button', { href: '#' }, t('sign.in')) : null,
    refused.length ? h('section.loud', {}, h('h2', {}, tn('refused.title', refused.length)), h('p', {}, t('refused.text')), h('ul', {}, ...refused.map(refusal)), button('again', t('refused.again'), once(async () => {
      await tryAgain(app.who.id);
      sendSoon();
      await draw();
    }), 'main')) : null,
    button('now', t('kept.now'), once(() => sendSoon())),
    ...days(mine), outing ? h('a.button', { href: '#kept' }, t('kept.all')) : rescue(), h('a.button', { href: '#' }, t('back.home')),
  ];
}

function refusal(r) {
  const problem = r.answer?.problem ?? {};
  return h('li', {}, h('b', {}, `${t(`kind.${r.kind}`)}, ${clock(r.at)}: `), problem.detail ?? String(r.answer?.status), ...(problem.fields ?? []).map((e) => h('div.small', {}, `${e.field} ${e.detail}`)));
}

function days(records) {
  const outings = new Map();
  for (const r of records) outings.set(r.outing, [...outings.get(r.outing) ?? [], r]);
  return [...outings.values()].reverse().map((of) => h('details.receipt', { open: outings.size === 1 }, h('summary', {}, `${dateOf(of[0].at)} ${of.find((r) => r.kind === 'outing')?.body.water ?? ''}`),
    ...warnings(of), h('ul', {}, ...of.map((r) => h('li', {}, h('b', {}, clock(r.at)), ' ', what(r), h('span.state', {}, t(`state.${r.sent}`), r.answer?.receipt ? h('code', {}, ` ${r.answer.receipt.n}:${r.answer.receipt.hash.slice(0, 8)}`) : ''))))));
}

/** What the service had to say of an outing that it took, as past the season. */
const warnings = (of) => of.flatMap((r) => r.answer?.warnings ?? []).map((w) => h('p.care', {}, w.detail));

function what(r) {
  if (r.kind === 'deviation') return t(`report.${r.body.kind}`);
  const pack = r.kind === 'catch' && app.packs.find((p) => p.key === r.pack);
  return pack ? `${t('kind.catch')}: ${codeName(pack, r.body.taken_pattern)}` : t(`kind.${r.kind}`);
}

/** The way out of a phone that cannot send: a file, that another device of the same member takes in. */
function rescue() {
  const input = h('input', { type: 'file', accept: '.json,.txt,application/json,text/plain', onchange: (e) => takeFile(e.target.files[0]) });
  return h('details', {}, h('summary', {}, t('rescue.title')), h('p', {}, t('rescue.text')),
    navigator.canShare?.({ files: [new File(['{}'], 'evenrig.txt', { type: 'text/plain' })] }) ? button('share', t('rescue.share'), async () => {
      const file = new File([await everything()], `evenrig-${dateOf(Date.now())}.txt`, { type: 'text/plain' });
      await navigator.share({ files: [file], title: t('rescue.name') }).catch((e) => { if (e.name !== 'AbortError') say(t('rescue.no_share')); });
    }, 'main') : null,
    button('save', t('rescue.save'), async () => {
      const link = h('a', { href: URL.createObjectURL(new Blob([await everything()], { type: 'application/json' })), download: `evenrig-${dateOf(Date.now())}.json` });
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
    }), h('label.field', {}, h('span', {}, t('rescue.take')), input));
}

/** All of the member's records on this phone, as a file holds them. Share sheets pass on plain text, and seldom JSON. */
const everything = async () => JSON.stringify({ form, account: app.who.id, records: await store.ofAccount(app.who.id), packs: app.packs.map(sealed) });

/** A pack without the rounds that nobody has opened: no file says what chance has in store. Another device fetches them anew. */
const sealed = (pack) => ({ ...pack, units: pack.units.filter((u) => u.opened || u.coin) });

const id = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;
const kinds = ['unit', 'outing', 'period', 'swap_now', 'period_end', 'catch', 'amend', 'fly_lost', 'deviation', 'temperature', 'outing_end'];

/** Whether a record of a file is one that this page could have made: it decides where a request goes. */
const sound = (r) => [r.id, r.trial, r.outing, r.enrolment].every((text) => id.test(text)) && kinds.includes(r.kind) && typeof r.key === 'string' && typeof r.at === 'number';

async function takeFile(file) {
  let held = null;
  try {
    held = JSON.parse(await file.text());
  } catch { /* said below */ }
  if (held?.form !== form || !Array.isArray(held.records) || !held.records.every(sound) || !Array.isArray(held.packs)) return say(t('rescue.no_file'));
  if (held.account !== app.who.id || held.records.some((r) => r.account !== app.who.id)) return say(t('rescue.not_yours'));
  const fresh = await store.takeIn(held.records, held.packs.filter((p) => p.account === app.who.id));
  await draw();
  say(tn('rescue.taken', fresh));
  sendSoon();
}
