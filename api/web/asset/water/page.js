// Building the page: elements, words, and one screen at a time.

let words = {}, plural = new Intl.PluralRules('en');

/** Takes the words of the page's language. */
export function speak(catalogue, language) {
  words = catalogue;
  plural = new Intl.PluralRules(language);
}

/** The words with the key, their {placeholders} filled from values. */
export const t = (key, values = {}) => (words[`water.${key}`] ?? key).replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);

/** The words for n of something, in the language's plural form. */
export function tn(key, n, values) {
  const form = `${key}.${plural.select(n)}`, known = `water.${form}` in words;
  return t(known ? form : `${key}.other`, { n, ...values });
}

/** An element: h('button.big', {onclick}, 'text', child). Text is text, never markup. */
export function h(what, props = {}, ...children) {
  const [tag, ...classes] = what.split('.'), e = document.createElement(tag || 'div');
  if (classes.length) e.className = classes.join(' ');
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (name === 'data') Object.assign(e.dataset, value);
    else if (name.startsWith('aria')) e.setAttribute(`aria-${name.slice(4).toLowerCase()}`, value);
    else if (name in e && name !== 'list') e[name] = value;
    else e.setAttribute(name, value === true ? '' : value);
  }
  e.append(...children.flat(9).filter((c) => c !== null && c !== undefined && c !== false));
  return e;
}

/** A button; key tells it apart, so that it keeps the focus when the screen is drawn anew. */
export const button = (key, text, onclick, look = '') => h(`button${look && `.${look}`}`, { type: 'button', onclick, data: { key } }, text);

/** A labelled field. */
export function field(label, input, help) {
  input.id ||= `f${++made}`;
  return h('p.field', {}, h('label', { htmlFor: input.id }, label), input, help ? h('span.help', {}, help) : null);
}
let made = 0;

/** A choice of one among [value, label] as large buttons that can be pressed; chosen is told of each choice. */
export function pick(legend, options, value, chosen) {
  const name = `p${++made}`;
  return h('fieldset.pick', {}, h('legend', {}, legend), ...options.map(([v, label]) => {
    const input = h('input', { type: 'radio', name, value: v, checked: v === value, onchange: () => chosen(v) });
    return h('label', {}, input, h('span', {}, label));
  }));
}

/** A number that is stepped by two large buttons; told hears of each value. */
export function stepper(label, { value, step, least, most, format = String }, told) {
  const shown = h('output', {}, format(value));
  const by = (d) => () => {
    value = Math.min(most, Math.max(least, Math.round((value + d) * 100) / 100));
    shown.textContent = format(value);
    told(value);
  };
  return h('div.stepper', { role: 'group', ariaLabel: label }, h('span.label', {}, label),
    h('button', { type: 'button', ariaLabel: t('step.less', { what: label }), onclick: by(-step) }, '−'), shown,
    h('button', { type: 'button', ariaLabel: t('step.more', { what: label }), onclick: by(step) }, '+'));
}

/** Says something to who cannot see the screen, and to who can, in the strip at the top. */
export function say(text) {
  document.querySelector('#said').textContent = text;
  clearTimeout(quiet);
  if (text) quiet = setTimeout(say, 10_000, '');
}
let quiet = null;

let shown = '', touched = false;

for (const kind of ['input', 'change', 'click']) {
  addEventListener(kind, (e) => {
    touched ||= !!e.target.closest?.('main :is(input, textarea, summary, .stepper, .pick)');
  });
}

/** Whether something was filled in on the screen that drawing it anew would lose. */
export const filledIn = () => touched;

/** Shows a screen. Drawn anew it keeps its focus, if what had it is still there; else it begins at its heading. */
export function show(name, ...content) {
  touched = false;
  const main = document.querySelector('main'), focused = document.activeElement?.dataset?.key;
  main.className = name.split('/')[0];
  main.replaceChildren(...content.flat(9).filter(Boolean));
  const same = shown === name && focused && main.querySelector(`[data-key="${CSS.escape(focused)}"]`), heading = main.querySelector('h1');
  if (shown !== name) scrollTo(0, 0);
  if (same) {
    same.focus({ preventScroll: true });
  } else if (heading && (shown !== name || focused)) {
    heading.tabIndex = -1;
    heading.focus({ preventScroll: true });
  }
  shown = name;
}
