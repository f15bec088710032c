// What the crew did and marked, in words; and what stands in a crew link.
import { clock } from '../lib/age';
import type { Deed, EventNow, SetupMistake } from '../lib/messages';

/** The code in the fragment of a crew link, or `null`. */
export function codeOf(hash: string): string | null {
  const found = /^#crew=([A-Za-z0-9-]{1,20})$/.exec(hash);
  return found?.[1] ?? null;
}

/** The crew's marks, newest first. */
export function marksOf(events: readonly EventNow[]): EventNow[] {
  return events.filter((e) => e.event === 'mark' && e.origin === 'marked').sort((a, b) => b.t_s - a.t_s);
}

/** When a mark stands: seconds from liftoff, or the time of day before there is one. */
export function markTime(t_s: number, liftoff_s: number | null, utcMinusStation_s: number): string {
  if (liftoff_s === null) return clock(t_s + utcMinusStation_s);
  const s = t_s - liftoff_s;
  return `T${s < 0 ? '−' : '+'}${Math.abs(s).toFixed(1)} s`;
}

/** One thing that the crew did, as a sentence without its time. */
export function deedWords(deed: Deed): string {
  const who = deed.who || 'Somebody at the station';
  switch (deed.did) {
    case 'mark':
      return `${who} marked “${deed.what}”.`;
    case 'correct':
      return `${who} corrected a mark to “${deed.what}”.`;
    case 'withdraw':
      return `${who} took a mark back.`;
    case 'name':
      return `${who} named the flight “${deed.what}”.`;
    case 'end':
      return `${who} ended the flight.`;
    case 'setup':
      return `${who} changed the setup.`;
    case 'accept':
      return `${who} accepted ${deed.what}.`;
    case 'take_back':
      return `${who} took back an acceptance: ${deed.what}.`;
    case 'notes':
      return `${who} wrote notes.`;
    case 'footage':
      return `${who} aligned footage.`;
    case 'delete':
      return `${who} deleted a flight.`;
    case 'restore':
      return `${who} took the deletion of a flight back.`;
  }
}

/** A mistake in a setup text, as sentences. */
export function mistakeWords(mistake: SetupMistake): string {
  const key = mistake.key ? `${mistake.key}: ` : '';
  const hint = mistake.hint ? ` Hint: ${mistake.hint}.` : '';
  return `${key}expected ${mistake.expected}, found ${mistake.found}.${hint}`;
}

/** Where a line and column (in characters) is in a text, as an index for a text field (in UTF-16 units). */
export function placeIn(text: string, line: number, column: number): number {
  let at = 0;
  for (let n = 1; n < line; n += 1) {
    const next = text.indexOf('\n', at);
    if (next < 0) return text.length;
    at = next + 1;
  }
  const end = text.indexOf('\n', at);
  const characters = [...text.slice(at, end < 0 ? text.length : end)];
  return at + characters.slice(0, column - 1).join('').length;
}

/** Puts a text field's cursor where a mistake is. */
export function putCursor(
  field: HTMLTextAreaElement,
  text: string,
  { line, column }: { line: number; column: number },
): void {
  const at = placeIn(text, line, column);
  field.focus();
  field.setSelectionRange(at, at);
  // A text field brings its caret into view only when something is typed.
  field.scrollTop = (field.scrollHeight / text.split('\n').length) * (line - 4);
}
