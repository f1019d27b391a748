// The protocol's rules as far as an angler's day needs them. Nothing here reads a clock or the store.

export const other = (arrangement) => (arrangement === 'test_lower' ? 'control_lower' : 'test_lower');

/** The patterns at the two positions in an arrangement. */
export function hung(protocol, arrangement) {
  const test = protocol.patterns.find((p) => p.part === 'test'), control = protocol.patterns.find((p) => p.part === 'control');
  return arrangement === 'test_lower' ? { lower: test, upper: control } : { lower: control, upper: test };
}

/** A length in whole millimetres; 1 in = 25.4 mm exactly (NIST SP 811). */
export const millimetres = ({ value, unit }) => Math.round(value * { mm: 1, cm: 10, in: 25.4 }[unit]);

/** A temperature in tenths of a degree Celsius; C = (F - 32) · 5/9 (NIST SP 811). */
export const tenths = ({ value, unit }) => Math.round((unit === 'F' ? (value - 32) * 5 / 9 : value) * 10);

/** Whether a fish counts toward the swap: every landed eligible fish, also one whose fly is not known, a double twice. */
export function countsTowardSwap(protocol, fish) {
  return !fish.void && fish.outcome !== 'lost' && fish.outcome !== 'touched' && !fish.foul_hooked && fish.taken_pattern !== 'other' &&
    protocol.species.includes(fish.species) && !(fish.length && millimetres(fish.length) < protocol.min_length_mm);
}

/**
 * How far the swap rule has come in a period that began at began: fish of how many, when its minutes are over (null
 * without such a rule), and by what it is due at now: fish, minutes or null.
 */
export function swapState(protocol, began, fish, now) {
  const { after_fish: most, after_minutes: minutes } = protocol.swap;
  const counted = fish.filter((f) => countsTowardSwap(protocol, f) && Date.parse(f.caught_at) >= began).length;
  const ends = minutes == null ? null : began + minutes * 60_000;
  const due = most != null && counted >= most ? 'fish' : ends != null && now >= ends ? 'minutes' : null;
  return { fish: counted, of: most ?? null, ends, due };
}

/** The salmonids, for which warm water means stop: trout, salmon, char, grayling and whitefish. */
const salmonid = /^(Brachymystax|Coregonus|Hucho|Oncorhynchus|Parahucho|Prosopium|Salmo|Salvelinus|Salvethymus|Stenodus|Thymallus)( |$)/;

/** What a water temperature asks for: fine, caution, stop, or unmeasured without one. Who fishes alone stops for any fish. */
export function welfare(protocol, measure) {
  if (!measure) return 'unmeasured';
  const t = tenths(measure);
  if (t >= protocol.welfare.stop_c * 10) return protocol.welfare.always || protocol.species.some((s) => salmonid.test(s)) ? 'stop' : 'caution';
  return t >= protocol.welfare.caution_c * 10 ? 'caution' : 'fine';
}

/** How many rounds a trip takes at most by the rule's minutes; null where only fish end a half. */
export function roundsFor(protocol, days, hours) {
  if (protocol.design === 'paired_by_outing') return Math.ceil(days / 2);
  const minutes = protocol.swap.after_minutes;
  return minutes == null ? null : days * Math.ceil(hours * 60 / (2 * minutes));
}

/** How many decimals of a degree the cells of a grid keep. */
const decimals = { '10km': 1, '1km': 2 };

/** The cell of the grid that holds a place, by its south-west corner, like 54.1N 2.4W; the place itself goes nowhere. */
export function cellOf(grid, latitude, longitude) {
  const n = decimals[grid], side = 10 ** n;
  const part = (degrees, positive, negative) => {
    const corner = Math.floor(degrees * side + 1e-9) / side;
    return Math.abs(corner).toFixed(n) + (corner < 0 ? negative : positive);
  };
  return `${part(latitude, 'N', 'S')} ${part(longitude, 'E', 'W')}`;
}
