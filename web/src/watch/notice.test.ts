import { describe, expect, it } from 'vitest';
import { body, headsUp, now, SITE, story, T0 } from '../lib/fixtures';
import type { Disk, Now } from '../lib/messages';
import { notice, notices } from './notice';
import type { View } from './view';

const view = (change: Partial<Now> = {}, other: Partial<View> = {}): View => {
  const message = now(change);
  return {
    now: message,
    story: story(),
    site: SITE,
    units: 'metric',
    t_s: message.t_s,
    lost: false,
    ...other,
  };
};

describe('the notice', () => {
  it('is empty when all is well', () => {
    expect(notice(notices(view(), false))).toBeNull();
  });

  it('keeps the order of the station and counts the rest', () => {
    const act = headsUp({ key: 'b', level: 'act', words: 'No sign of the drogue.' });
    const found = notices(view({ headsups: [headsUp(), act] }), false);
    expect(notice(found, 2)).toEqual({ level: 'act', words: 'No sign of the drogue.', more: 3 });
  });

  it('shows two where there is room, the second of any level, and counts the rest', () => {
    const act = headsUp({ key: 'b', level: 'act', words: 'No sign of the drogue.' });
    const found = notices(view({ headsups: [act, headsUp(), headsUp({ key: 'c' })] }), false);
    expect(notice(found, 1, '', true)).toEqual({
      level: 'act',
      words: act.words,
      next: { level: 'look', words: headsUp().words },
      more: 2,
    });
    expect(notice(found.slice(0, 1), 0, '', true)).toEqual({ level: 'act', words: act.words, more: 0 });
    // What the sentence says is not said beneath it either.
    expect(notice(found, 0, headsUp().words, true)?.next).toBeUndefined();
  });

  it('does not say once more what the sentence says, unless there is nothing else of its level', () => {
    const silent = headsUp({ key: 'silence', level: 'act', words: 'All radios silent. Eyes up.' });
    const act = headsUp({ key: 'b', level: 'act', words: 'No sign of the drogue.' });
    const shown = (...all: ReturnType<typeof headsUp>[]) =>
      notice(notices(view({ headsups: all }), false), 0, 'All radios silent. Eyes up.');
    expect(shown(silent, act, headsUp())).toEqual({ level: 'act', words: 'No sign of the drogue.', more: 2 });
    expect(shown(silent, headsUp())).toEqual({ level: 'act', words: silent.words, more: 1 });
  });

  it('says within whose words the units change', () => {
    const found = notices(view({ headsups: [headsUp()] }, { units: 'imperial' }), false);
    expect(found[0]?.words).toBe('Cam A goes out in 1.2 s into 141 ft/s of air. Its limit is 82 ft/s.');
  });

  it('puts the lost station first, keeps a warning through a silence, and tells of links', () => {
    const silent = view({ silent_since_s: T0 + 4, headsups: [headsUp()] });
    const words = notices(silent, true).map((n) => n.words);
    expect(words[0]).toBe('Page lost the station, trying again.');
    expect(words[1]).toContain('Cam A goes out');
    expect(words[2]).toBe('Silent: all 2 transmitters. Both links are up.');
    const cut = {
      ...story(),
      links: [
        { name: 'mast serial', up: false, reason: 'unplugged', bytes: 9, no_frame: false, wrong: 0 },
        { name: 'truck serial', up: true, reason: '', bytes: 9, no_frame: false, wrong: 0 },
      ],
    };
    const down = notices(view({ silent_since_s: T0 + 4 }, { story: cut }), false).map((n) => n.words);
    expect(down).toEqual([
      'Silent: all 2 transmitters. 1 of 2 links up.',
      'Link mast serial is down: unplugged.',
    ]);
  });

  it('has what is for acting above the lost station', () => {
    const act = headsUp({ key: 'b', level: 'act', words: 'No sign of the drogue.' });
    const words = notices(view({ headsups: [act, headsUp()] }), true).map((n) => n.words);
    expect(words.slice(0, 2)).toEqual(['No sign of the drogue.', 'Page lost the station, trying again.']);
  });

  it('says of a vehicle that is down that charges may be live, before anybody reads the list', () => {
    const charged = (count: number): View['story'] => {
      const charges = Array.from({ length: count }, (_, i) => ({
        name: `Cam ${i} out`,
        said: 'commanded' as const,
      }));
      const told = story();
      const pieces = [{ body: 0, carried_by: null, down: true, place: null, charges }];
      return { ...told, ground: { ...told.ground, pieces } };
    };
    const down = { bodies: [body({ phase: 'down' })] };
    const said = (count: number, change: Partial<Now> = down): string[] =>
      notices(view(change, { story: charged(count) }), false).map((n) => n.words);
    expect(said(3)).toContain('3 charges are not confirmed fired: treat as live.');
    expect(said(1)).toContain('A charge is not confirmed fired: treat as live.');
    expect(said(0)).not.toContainEqual(expect.stringContaining('charge'));
    expect(said(3, {})).not.toContainEqual(expect.stringContaining('charge'));
  });

  it('says aloud that nothing is kept, but not of a hiccup of the disk', () => {
    const { t_s } = now();
    const slow = { not_kept_since_s: t_s - 0.5, disk: 'slow' as const };
    expect(notices(view(slow), false)).toEqual([]);
    expect(notices(view(slow, { t_s: t_s + 1.5 }), false)[0]).toMatchObject({
      level: 'act',
      words: expect.stringMatching(/^Disk slow: not kept since \S+\. What comes waits in memory; /) as string,
    });
    const words = notices(view(slow, { t_s: t_s + 3 }), true).map((n) => n.words);
    expect(words).toEqual(['Page lost the station, trying again.']);
  });

  it('says at once that a disk takes nothing, and asks for space only where space is short', () => {
    const said = (disk: Disk): string =>
      notices(view({ not_kept_since_s: now().t_s - 0.1, disk }), false)[0]?.words ?? '';
    expect(said('full')).toMatch(/^Disk full: not kept since \S+\. Free some space; the flight goes on\.$/);
    for (const disk of ['read_only', 'locked', 'failing'] as const) {
      expect(said(disk)).toContain('not kept since');
      expect(said(disk)).not.toContain('space');
    }
  });

  it('tells how much was lost, under what is happening now', () => {
    const said = (more: object): string[] => notices(view(more), false).map((n) => n.words);
    expect(said({ lost_bytes: 1200 })).toEqual([
      '2 kB from the radio were lost: the disk took nothing for too long.',
    ]);
    const both = said({ lost_bytes: 3_400_000, not_kept_since_s: now().t_s - 0.1, disk: 'failing' });
    expect(both[0]).toMatch(/^Disk failing/);
    expect(both[1]).toContain('3.4 MB');
  });

  it('warns of little room on the disk until it is full', () => {
    const said = (disk_room_s: number | null, more = {}): string[] =>
      notices(view({ disk_room_s, ...more }), false).map((n) => `${n.level}: ${n.words}`);
    expect(said(null)).toEqual([]);
    expect(said(80_000)).toEqual(['look: The disk has room for about 22 hours more. Free some space.']);
    expect(said(4000)[0]).toContain('about an hour more');
    expect(said(100)[0]).toContain('less than an hour more');
    const full = said(0, { not_kept_since_s: now().t_s - 0.1, disk: 'full' });
    expect(full).toHaveLength(1);
    expect(full[0]).toMatch(/^act: Disk full/);
  });

  it('names one transmitter that is silent while others speak, but not a piece that lies', () => {
    const gone = body({ name: 'Cam B', heard_t_s: T0 - 10 });
    expect(notices(view({ bodies: [body(), gone] }), false)[0]?.words).toBe('Cam B not heard for 16 s.');
    const lies = view({ bodies: [body(), { ...gone, phase: 'down' }] });
    const fell = (t: number): View => ({ ...lies, story: story([['landing', t, 1, 'inferred']]) });
    expect(notices(fell(-12), false)).toEqual([]);
    expect(notices(fell(-5), false)[0]?.words, 'laid down by sums').toBe('Cam B not heard for 16 s.');
  });
});
