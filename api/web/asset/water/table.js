// Days as a catch table, by RFC 4180: what `evenrig analyse` and the pages read.

import { hung, other } from './rules.js';

const columns = ['angler', 'outing', 'block', 'period', 'lower_pattern', 'taken_pattern', 'species', 'origin', 'outcome', 'foul_hooked', 'caught_at', 'length', 'length_unit', 'exclusion'];

/** The table of the days' fish. */
export function tableOf(days, protocol) {
  const rows = days.flatMap((day) => day.fish.map((fish) => {
    const period = day.periods.find((p) => p.id === fish.period);
    return ['me', day.id, period.n, period.half, hung(protocol, arrangementAt(day, period, fish)).lower.code, fish.taken_pattern, fish.species, fish.origin ?? 'unknown', fish.outcome ?? 'landed', fish.foul_hooked ? 'yes' : 'no', fish.caught_at,
      fish.length?.value ?? '', fish.length?.unit ?? '', whyNot(day, period, fish)];
  }));
  return [columns, ...rows].map((row) => `${row.map(cell).join(',')}\r\n`).join('');
}

/** A value that a spreadsheet program would take for a formula gets an apostrophe, which readers take off again. */
function cell(value) {
  const text = /^[=+@-]/.test(String(value)) ? `'${value}` : String(value);
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

const covers = (report, at) => Date.parse(report.body.from) <= at && !(report.body.until && Date.parse(report.body.until) <= at);

/** What was on the line: a report of the wrong way round that was put right turns it over for its time only. */
function arrangementAt(day, period, fish) {
  const turned = day.reports.some((r) => r.body.kind === 'wrong_way_round' && r.body.period === period.id && r.body.until && covers(r, Date.parse(fish.caught_at)));
  return turned ? other(period.arrangement) : period.arrangement;
}

const rigFaults = ['third_fly', 'wrong_fly', 'fly_lost', 'spacing_changed', 'depth_changed'];

/** Why a fish is not analysed, where its other columns cannot show it; the first reason that applies. */
function whyNot(day, period, fish) {
  const at = Date.parse(fish.caught_at), end = period.end;
  if (fish.void) return 'void';
  if (at < period.began || end && at > end.at || offAt(day, at)) return 'not_confirmed';
  if (fish.rig_intact === false || day.reports.some((r) => rigFaults.includes(r.body.kind) && r.body.period === period.id && covers(r, at))) return 'rig_not_intact';
  if (period.swapNow && at > period.swapNow) return 'while_swapping';
  return fish.double_id ? 'double' : '';
}

function offAt(day, at) {
  const turn = day.reports.filter((r) => ['off_trial', 'back_on'].includes(r.body.kind) && Date.parse(r.body.from) <= at).at(-1);
  return turn?.body.kind === 'off_trial';
}
