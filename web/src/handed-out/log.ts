// A log from the vehicle's own memory: its header row, and what its columns are taken for until a person says otherwise. Pure.
import type { LogColumn } from '../lib/messages';

/** What a column of a log may mean, with units that loggers write. */
export const MEANINGS: { means: string; words: string; units: string[] }[] = [
  { means: 'pressure', words: 'Pressure', units: ['Pa', 'hPa', 'kPa', 'mbar', 'psi', 'inHg'] },
  {
    means: 'axial specific force',
    words: 'Force along the nose',
    units: ['m/s2', 'g', 'mg', 'ft/s2'],
  },
  { means: 'own height', words: 'Its own height', units: ['m', 'ft', 'cm'] },
  { means: 'own climb rate', words: 'Its own climb rate', units: ['m/s', 'ft/s', 'cm/s'] },
  { means: 'tilt', words: 'Tilt from vertical', units: ['deg', 'rad'] },
];

export const TIMES = ['s', 'ms', 'us', 'min'];

export interface Head {
  separator: string;
  columns: string[];
}

/** The header row: the first line that is no remark, cut where most of the usual separators stand. */
export function headOf(text: string): Head | null {
  const line = text.split(/\r?\n/, 200).find((l) => l.trim() !== '' && !l.startsWith('#'));
  if (!line) return null;
  const separator = [',', ';', '\t'].reduce((best, s) =>
    line.split(s).length > line.split(best).length ? s : best,
  );
  const columns = line.split(separator).map((c) => c.trim().replace(/^"(.*)"$/, '$1'));
  return columns.length > 1 ? { separator, columns } : null;
}

/** The unit that stands in a column's name, such as `baro_hpa` or `time (ms)`; else the first. */
function unitIn(name: string, units: string[]): string {
  const words = name
    .toLowerCase()
    .split(/[^a-z0-9/²]+/)
    .filter(Boolean);
  return units.find((unit) => words.includes(unit.toLowerCase())) ?? units[0] ?? '';
}

export interface Guess {
  time: { column: string; unit: string };
  /** For each meaning; `column` is empty where none was found. */
  columns: LogColumn[];
}

const TIME_NAMES = /^(t|time|clock|ms|millis|micros|us|seconds?|s)\b|time|millis/i;
const NAMES: Record<string, RegExp> = {
  pressure: /press|baro/i,
  'axial specific force': /acc|force|^a[xz]\b/i,
  'own height': /height|alt/i,
  'own climb rate': /climb|vel|speed/i,
  tilt: /tilt/i,
};

/** What the names of columns look like: a start, not an answer. */
export function guessed({ columns }: Head): Guess {
  const time = columns.find((c) => TIME_NAMES.test(c)) ?? columns[0] ?? '';
  const others = columns.filter((c) => c !== time);
  return {
    time: { column: time, unit: unitIn(time.replace(/millis/i, 'ms').replace(/micros/i, 'us'), TIMES) },
    columns: MEANINGS.map(({ means, units }) => {
      const column = others.find((c) => NAMES[means]?.test(c)) ?? '';
      return { column, means, unit: unitIn(column, units), missing: null };
    }),
  };
}
