import { describe, expect, it } from 'vitest';
import type { EventNow } from '../lib/messages';
import { codeOf, deedWords, markTime, marksOf, mistakeWords, placeIn } from './words';

describe('a crew link', () => {
  it('has its code in the fragment and nothing else counts as one', () => {
    expect(codeOf('#crew=K7MXA4PH')).toBe('K7MXA4PH');
    expect(codeOf('#crew=k7mx-a4ph')).toBe('k7mx-a4ph');
    for (const other of [
      '',
      '#main',
      '#crew=',
      '#crew=<b>',
      '#crew=a b',
      `#crew=${'A'.repeat(21)}`,
      '#xcrew=A',
    ])
      expect(codeOf(other)).toBeNull();
  });
});

describe('marks', () => {
  const event = (t_s: number, change: Partial<EventNow> = {}): EventNow => ({
    id: t_s,
    body: 0,
    event: 'mark',
    label: 'mark',
    t_s,
    sd_s: 0.5,
    origin: 'marked',
    who: 'Mo',
    ...change,
  });

  it('are listed newest first, without what the vehicle did', () => {
    const events = [event(1), event(3, { event: 'apogee', origin: 'detected' }), event(2)];
    expect(marksOf(events).map((e) => e.t_s)).toEqual([2, 1]);
  });

  it('stand at seconds from liftoff, or at a time of day before it', () => {
    expect(markTime(112.34, 100, 0)).toBe('T+12.3 s');
    expect(markTime(99, 100, 0)).toBe('T−1.0 s');
    expect(markTime(1_795_600_000, null, 2)).toMatch(/^\d\d:\d\d:42$/);
  });
});

describe('what the crew did', () => {
  it('is a sentence that says who', () => {
    const deed = { utc_s: 0, who: 'Mo', did: 'mark', what: 'chute seen' } as const;
    expect(deedWords(deed)).toBe('Mo marked “chute seen”.');
    expect(deedWords({ ...deed, who: '', did: 'end' })).toBe('Somebody at the station ended the flight.');
  });
});

describe('a mistake in the setup', () => {
  const mistake = { line: 2, column: 3, key: 'a.b', expected: 'a number', found: '"x"', hint: null };

  it('says what was expected and found, and the hint if there is one', () => {
    expect(mistakeWords(mistake)).toBe('a.b: expected a number, found "x".');
    expect(mistakeWords({ ...mistake, key: '', hint: 'leave it out' })).toBe(
      'expected a number, found "x". Hint: leave it out.',
    );
  });

  it('is found in the text by its line and column, in characters', () => {
    const text = 'one\n🚀 = 2\nthree';
    expect(placeIn(text, 1, 1)).toBe(0);
    expect(text.slice(placeIn(text, 2, 3))).toBe('= 2\nthree');
    expect(placeIn(text, 3, 99)).toBe(text.length);
    expect(placeIn(text, 9, 1)).toBe(text.length);
  });
});
