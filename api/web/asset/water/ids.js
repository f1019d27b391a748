// Ids and times, made on the phone.

/** A UUID of version 7 (RFC 9562, section 5.7) for the given time in milliseconds. */
export function newId(ms = Date.now()) {
  const b = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0; i < 6; i++) b[i] = Math.floor(ms / 256 ** (5 - i)) % 256;
  b[6] = (b[6] & 0x0f) | 0x70;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

const two = (n) => String(n).padStart(2, '0');

/** A time in milliseconds as RFC 3339 with the phone's own offset, to the millisecond. */
export function stamp(ms) {
  const d = new Date(ms), off = -d.getTimezoneOffset(), sign = off < 0 ? '-' : '+', o = Math.abs(off);
  return `${dateOf(ms)}T${two(d.getHours())}:${two(d.getMinutes())}:${two(d.getSeconds())}.${String(d.getMilliseconds()).padStart(3, '0')}` +
    `${sign}${two(Math.floor(o / 60))}:${two(o % 60)}`;
}

/** The phone's own date of a time, like 2026-09-12. */
export function dateOf(ms) {
  const d = new Date(ms);
  return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
}

/** The hour and minute of a time (milliseconds or RFC 3339) on the phone's clock. */
export function clock(t) {
  const d = new Date(t);
  return `${two(d.getHours())}:${two(d.getMinutes())}`;
}

const minute = 60_000;

function on(ms, words, days) {
  const m = /^(\d\d):(\d\d)/.exec(words ?? ''), d = new Date(ms);
  return m && new Date(d.getFullYear(), d.getMonth(), d.getDate() + days, +m[1], +m[2]).getTime();
}

/** The last time up to ms at which clocks said "23:30"; null when the words are no time. */
export const lastAt = (ms, words) => [0, -1].map((days) => on(ms, words, days)).find((at) => at === null || at <= ms);

/** The first time from ms on, by the minute, at which clocks say "01:30"; null when the words are no time. */
export const nextAt = (ms, words) => [0, 1, 2].map((days) => on(ms, words, days)).find((at) => at === null || at > ms - minute);

/** A coin that nobody can steer: true or false. */
export const coin = () => (crypto.getRandomValues(new Uint8Array(1))[0] & 1) === 0;
