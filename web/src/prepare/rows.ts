// Readiness and margins as one list, trouble first, and the sentence that counts them. Pure: messages in, words out.
import { whole } from '../lib/age';
import type { AcceptedNow, BodyNow, CheckNow, Level, Margin, RadioNow } from '../lib/messages';
import { decimal, inWords, length, lengthScale, speedScale, type Units } from '../lib/units';

export type RowState = Level | 'within' | 'told';

export interface Row {
  key: string;
  state: RowState;
  what: string;
  figure: string;
  limit: string;
  from: string;
  /** What one should know beside it, and what to do. */
  note: string;
  change: string;
  accepted: string | null;
  /** Heard on the radio, or worked out of what was told. */
  heard: boolean;
  /** How long ago it was heard, s; `null` where that is not what the row is about. */
  ago_s: number | null;
}

/** When each transmitter and each receiver last brought a packet, by the key of its row, station time. */
export function heardOf(bodies: readonly BodyNow[], radios: readonly RadioNow[]): Map<string, number> {
  const all = new Map<string, number>();
  const put = (key: string, at: number | null): void => {
    if (at !== null) all.set(key, Math.max(at, all.get(key) ?? at));
  };
  for (const body of bodies) put(`heard:${body.name}`, body.heard_t_s);
  for (const radio of radios) put(`receiver:${radio.receiver}`, radio.heard_t_s);
  return all;
}

const ORDER: Record<RowState, number> = { act: 0, look: 1, within: 2, told: 3 };

/** The same words with each number tied to its unit, so that a line breaks before both. */
export function tied(words: string): string {
  return words.replace(/(\d) (?=[%°:a-zA-Zµ])/g, '$1\u00a0').replace(/: (?=\d)/g, ':\u00a0');
}

/** A figure in its unit. */
export function shown(value: number, unit: string, units: Units): string {
  const feet = lengthScale(units);
  const fast = speedScale(units);
  switch (unit) {
    case 'm':
      return length(value, units);
    case 'm/s':
      return `${decimal(value * fast.factor, Math.abs(value * fast.factor) < 100 ? 1 : 0)} ${fast.unit}`;
    case 'm/s2':
      return units === 'metric' ? `${decimal(value)} m/s²` : `${decimal(value * feet.factor)} ft/s²`;
    case 'rad':
      return `${decimal((value * 180) / Math.PI)}°`;
    case 'share':
      return `${decimal(100 * value, 100 * value < 9.95 ? 1 : 0)} %`;
    case 'ratio':
      return `${decimal(value, 1)} : 1`;
    case 'calibres':
      return `${decimal(value, 1)} diameters`;
    case 'kg':
      return units === 'metric' ? `${decimal(value, 2)} kg` : `${decimal(value / 0.45359237, 1)} lb`;
    case 'J':
      return units === 'metric' ? `${decimal(value)} J` : `${decimal(value / 1.3558179483)} ft lbf`;
    default:
      return `${decimal(value)} ${unit}`.trim();
  }
}

function ofMargin(margin: Margin, accepted: readonly AcceptedNow[], units: Units): Row {
  const figure = margin.figure === null ? margin.figure_words : shown(margin.figure, margin.unit, units);
  const bound = margin.at_least ? 'at least' : 'at most';
  const limit =
    margin.limit === null ? margin.limit_words : `${bound} ${shown(margin.limit, margin.unit, units)}`;
  const by = accepted.find((a) => a.key === margin.key);
  return {
    key: margin.key,
    state: margin.level ?? (margin.judged ? 'within' : 'told'),
    what: margin.what,
    figure,
    limit,
    from: margin.limit_from,
    note: inWords(margin.note, units),
    change: margin.level ? margin.change : '',
    accepted: by && margin.level ? acceptance(by.who, by.why, `then ${inWords(by.figure, units)}`) : null,
    heard: false,
    ago_s: null,
  };
}

/** "accepted by Mo because its switch stands in between" */
function acceptance(who: string, why: string, beside = ''): string {
  return `accepted by ${who || 'somebody at the station'} because ${why}${beside ? ` (${beside})` : ''}`;
}

function ofCheck(check: CheckNow, heard_t_s: number | undefined, t_s: number, units: Units): Row {
  // What is silent says since when by itself.
  const ago_s = check.level || heard_t_s === undefined ? null : Math.max(0, t_s - heard_t_s);
  const since = check.since_t_s === null ? '' : ` ${whole(t_s - check.since_t_s)}`;
  return {
    key: check.key,
    state: check.level ?? 'within',
    what: check.what,
    figure: inWords(check.figure, units) + since,
    limit: inWords(check.limit, units),
    from: check.limit_from === 'default' ? 'our default, no source' : check.limit_from,
    note: '',
    change: inWords(check.words, units),
    accepted: check.accepted_why === null ? null : acceptance(check.accepted_by ?? '', check.accepted_why),
    heard: true,
    ago_s,
  };
}

/** All rows, trouble first; what was accepted behind what was not. */
export function rowsOf(
  margins: readonly Margin[],
  checks: readonly CheckNow[],
  accepted: readonly AcceptedNow[],
  heard: ReadonlyMap<string, number>,
  t_s: number,
  units: Units,
): Row[] {
  const all = [
    ...checks.map((c) => ofCheck(c, heard.get(c.key), t_s, units)),
    ...margins.map((m) => ofMargin(m, accepted, units)),
  ];
  const rank = (row: Row): number => ORDER[row.state] * 2 + (row.accepted ? 1 : 0);
  return all
    .map((row, i) => ({ row, i }))
    .sort((a, b) => rank(a.row) - rank(b.row) || a.i - b.i)
    .map(({ row }) => row);
}

/** What several rows of one kind are called together. */
const TOGETHER: Record<string, string> = {
  heard: 'Radios',
  receiver: 'Receivers',
  fix: 'Fixes',
  satellites: 'Satellites',
  dilution: 'Dilution',
  pressure: 'Pressures',
  continuity: 'Continuity',
  armed: 'Arming',
  battery: 'Batteries',
  sensors: 'Sensors',
  clock: 'Clocks',
  storage: 'Storage left',
  restart: 'Restarts',
  'margin:cue': 'At cues and chutes',
  'margin:landing_speed': 'Speeds at landing',
  'margin:landing_energy': 'Energies at landing',
  'margin:distance': 'Distances from the pad',
};

function kindOf(key: string): string {
  const parts = key.split(':');
  return parts[0] === 'margin' ? `margin:${parts[1] ?? ''}` : (parts[0] ?? '');
}

/** What is within limits in fewer rows: those of one kind and one limit together, each with its own figure. */
export function together(rows: readonly Row[]): Row[] {
  const groups = new Map<string, Row[]>();
  for (const row of rows) {
    const kind = kindOf(row.key);
    const key = kind in TOGETHER ? `${kind}|${row.limit}|${row.from}` : row.key;
    groups.set(key, [...(groups.get(key) ?? []), row]);
  }
  return [...groups.values()].flatMap((group) => {
    const [first] = group;
    if (!first) return [];
    const ages = group.flatMap((r) => (r.ago_s === null ? [] : [r.ago_s]));
    const ago = ages.length ? `, last ${agoOf(Math.min(...ages), Math.max(...ages))}` : '';
    if (group.length === 1) return [{ ...first, figure: first.figure + ago }];
    const names = group.map((r) => nameOf(r));
    const same = group.every((r) => r.figure === first.figure);
    const all = allOf(first.figure);
    const figure = same ? all + ago : group.map((r, i) => `${names[i] ?? ''} ${r.figure}`).join(', ') + ago;
    const what = `${TOGETHER[kindOf(first.key)] ?? ''}, ${group.length}`;
    // What is to be known of all of them stays.
    const note = group.every((r) => r.note === first.note) ? first.note : '';
    return [
      { ...first, what, figure, note: [same ? names.join(', ') : '', note].filter(Boolean).join('; ') },
    ];
  });
}

/** One figure of all of them, as one says it. */
function allOf(figure: string): string {
  if (figure.startsWith('none')) return figure;
  return `all ${figure === 'hears' ? 'hear' : figure}`;
}

/** "0 to 2 s ago" */
function agoOf(least_s: number, most_s: number): string {
  const [least, most] = [whole(least_s), whole(most_s)];
  if (least === most) return `${most} ago`;
  return `${most.endsWith(' s') ? least.replace(' s', '') : least} to ${most} ago`;
}

/** Of whom a row is: the last part of its key. */
function nameOf(row: Row): string {
  return row.key.split(':').at(-1) ?? '';
}

const WORDS = [
  'none',
  'one',
  'two',
  'three',
  'four',
  'five',
  'six',
  'seven',
  'eight',
  'nine',
  'ten',
  'eleven',
  'twelve',
];

function count(n: number): string {
  return WORDS[n] ?? String(n);
}

function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** "Ten of twelve within limits. One to look at, one to act on." It never says more than that. */
export function counted(rows: readonly Row[]): string {
  const judged = rows.filter((r) => r.state !== 'told');
  if (judged.length === 0) return 'Nothing to judge yet.';
  const within = judged.filter((r) => r.state === 'within').length;
  const open = (state: RowState): number => judged.filter((r) => r.state === state && !r.accepted).length;
  const taken = judged.filter((r) => r.accepted).length;
  const small = judged.length <= 12;
  const say = (n: number): string => (small ? count(n) : String(n));
  const first = `${capital(say(within))} of ${say(judged.length)} within limits.`;
  const parts = [
    open('look') ? `${count(open('look'))} to look at` : '',
    open('act') ? `${count(open('act'))} to act on` : '',
    taken ? `${count(taken)} accepted` : '',
  ].filter(Boolean);
  return parts.length ? `${first} ${capital(parts.join(', '))}.` : first;
}
