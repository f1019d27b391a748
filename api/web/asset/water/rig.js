// The rig: a line with its two flies. The changed fly's body is filled, the usual one's open; their colours differ too.

import { h } from './page.js';
import { hung } from './rules.js';

function svg(tag, attributes, ...children) {
  const e = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) e.setAttribute(name, value);
  e.append(...children);
  return e;
}

/** The mark of a pattern, its eye at 0,0 and lying to the right. */
const mark = (pattern, transform) => svg('g', { class: `of-${pattern.part}`, ...(transform && { transform }) },
  svg('path', { class: 'hook', d: 'M3.4 0H20C26.5 0 27 8.6 21.6 9.2 19.6 9.4 18.2 8.2 18.1 6.4M7-1.4C8.4-5 11-7.4 14.6-8.4M7 1.4C8.2 4 9.6 5.6 11.6 6.8M20-.8 25-4.6M20.4-.4 26.4-2.4' }),
  svg('circle', { class: 'hook', cx: 1.7, cy: 0, r: 1.7 }),
  svg('path', { class: 'body', d: 'M6.4-1.9C10-4.6 16-4.2 20.2-.6 16 2.9 10 3.4 6.4 1.9Z' }));

/** A fly alone. */
export const fly = (pattern) => svg('svg', { class: 'fly', viewBox: '-2 -11 32 22', 'aria-hidden': 'true' }, mark(pattern));

/** What the two are told apart by, in words, with a patch of the colour where its name is one that browsers know. */
export function looks(pattern) {
  const words = [pattern.shape, pattern.colour].filter(Boolean).join(', ');
  if (!words) return [];
  const known = pattern.colour && CSS.supports('color', pattern.colour.trim());
  return [...(known ? [svg('svg', { class: 'patch', viewBox: '0 0 14 14', 'aria-hidden': 'true' }, svg('circle', { cx: 7, cy: 7, r: 6, fill: pattern.colour.trim() }))] : []), words];
}

/** The rig in an arrangement: the line with its flies, and beside each its place, name and looks. label is the drawing in words. */
export function rig(protocol, arrangement, label) {
  const { lower, upper } = hung(protocol, arrangement);
  const said = (word, p) => h(`div.of-${p.part}`, {}, h('span.word', {}, word), h('b', {}, p.name), h('span.looks', {}, ...looks(p)));
  return h('div.rig', {}, svg('svg', { viewBox: '0 0 110 190', role: 'img', 'aria-label': label },
    svg('path', { class: 'line', d: 'M28 2V138M28 40 52 49' }), svg('circle', { class: 'knot', cx: 28, cy: 40, r: 5 }),
    mark(upper, 'translate(52 49) rotate(18) scale(1.75)'), mark(lower, 'translate(28 138) rotate(90) scale(1.75)')),
  said(protocol.upper_word, upper), said(protocol.lower_word, lower));
}
