// The rig: a line with its two flies. The changed fly's body is filled, the usual one's open; their colours differ too.

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

/** The rig in an arrangement, upright, with names and words. label is the drawing in words. */
export function rig(protocol, arrangement, label) {
  const { lower, upper } = hung(protocol, arrangement);
  return svg('svg', { class: 'rig', viewBox: '0 0 300 230', role: 'img', 'aria-label': label },
    svg('path', { class: 'line', d: 'M40 4V176M40 58 74 70' }), svg('circle', { class: 'knot', cx: 40, cy: 58, r: 5 }),
    mark(upper, 'translate(74 70) rotate(18) scale(1.7)'), mark(lower, 'translate(40 176) rotate(90) scale(1.7)'),
    ...label2(protocol.upper_word, upper, 132, 66), ...label2(protocol.lower_word, lower, 78, 186));
}

const label2 = (word, pattern, x, y) => [
  svg('text', { class: 'word', x, y }, word),
  svg('text', { class: 'name', x, y: y + 22 }, pattern.name.length > 22 ? `${pattern.name.slice(0, 21)}…` : pattern.name),
];
