// The bytes of a frame, cut where its fields begin and end.
import type { FrameField, RadioFrame } from '../lib/messages';

export interface Piece {
  /** Pairs of hexadecimal digits with spaces between. */
  bytes: string;
  /** The fields that stand on these bytes; none where no field does. */
  fields: FrameField[];
}

/** Fields that stand on no bytes of their own, such as values with keys. */
export function apart(frame: RadioFrame): FrameField[] {
  return frame.fields.filter((f) => f.from === null || f.to === null);
}

/** Runs of bytes in order: each with the fields that stand on exactly these. Bits share a run. */
export function pieces(frame: RadioFrame): Piece[] {
  const pairs = frame.hex.match(/../g) ?? [];
  const placed = frame.fields.filter((f): f is FrameField & { from: number; to: number } => f.from !== null);
  const runs = new Map<string, { from: number; to: number; fields: FrameField[] }>();
  for (const field of placed) {
    const key = `${field.from} ${field.to}`;
    const run = runs.get(key) ?? { from: field.from, to: field.to, fields: [] };
    run.fields.push(field);
    runs.set(key, run);
  }
  const found: Piece[] = [];
  let at = 0;
  const put = (from: number, to: number, fields: FrameField[]): void => {
    const bytes = pairs.slice(from, to).join(' ');
    if (bytes || fields.length) found.push({ bytes, fields });
  };
  for (const run of [...runs.values()].sort((a, b) => a.from - b.from || a.to - b.to)) {
    if (run.from > at) put(at, run.from, []);
    put(run.from, run.to, run.fields);
    at = Math.max(at, run.to);
  }
  put(at, pairs.length, []);
  return found;
}

/** Why frames are wrong, the most frequent reason first. Figures in a reason do not make it another one. */
export function reasons(frames: readonly RadioFrame[]): { reason: string; count: number }[] {
  const counts = new Map<string, number>();
  for (const { wrong } of frames) {
    if (wrong === null) continue;
    const reason = wrong
      .replace(/\b(0x)?[0-9A-F]{2,}\b/g, '…')
      .replace(/\d+/g, '…')
      .replace(/^… /, '');
    counts.set(reason, (counts.get(reason) ?? 0) + 1);
  }
  return [...counts].map(([reason, count]) => ({ reason, count })).sort((a, b) => b.count - a.count);
}

/** One line for a frame: what it is, or why it is none. */
export function verdict(frame: RadioFrame): string {
  if (frame.wrong !== null) return frame.wrong;
  const more = frame.complaints.length ? `, ${frame.complaints.length} not read` : '';
  return `${frame.layout ?? 'good'}${more}`;
}

/** The links that frames came over, in order of their names; one that shows nothing now stays out. */
export function linksOf(frames: readonly RadioFrame[]): string[] {
  return [...new Set(frames.map((frame) => frame.link))].sort();
}

/** The frames that are asked for: of one link or of all, good ones too or not. */
export function chosen(frames: readonly RadioFrame[], onlyWrong: boolean, link: string): RadioFrame[] {
  // A link whose frames have gone is no reason to show none.
  const known = frames.some((frame) => frame.link === link);
  return frames.filter((f) => (!onlyWrong || f.wrong !== null) && (!known || f.link === link));
}
