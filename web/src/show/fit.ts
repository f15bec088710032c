// How large the sentence of the show may be written: as large as its place of two lines allows, and never larger than its
// size. Longer sentences are told in smaller letters rather than on a third line.

/** So many letters of the usual size stand in two lines of a screen 1920 wide; measured with the page's own font. */
const LETTERS = 52;

export function fitOf(words: string): number {
  return Math.round(Math.min(1, LETTERS / Math.max(1, words.length)) * 1000) / 1000;
}
