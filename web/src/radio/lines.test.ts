import { expect, it } from 'vitest';
import { now, story, T0 } from '../lib/fixtures';
import { behindWords, bodiesOf, linkWords, radioLines, wrongLines } from './lines';

it('says last heard, loss and signal, and leaves a gap where a frame was lost', () => {
  const radio = {
    receiver: 'Mast',
    body: 'Body',
    heard_t_s: T0 + 6.3,
    loss: 0.021,
    rssi_dbm: -71.4,
    snr_db: null,
    ticks: '1101',
    good: 9,
    wrong: 1,
    wrong_by: [{ reason: 'checksum', count: 1 }],
  };
  const told = {
    ...story(),
    radio: [
      radio,
      { ...radio, body: 'Cam A', heard_t_s: null, loss: null, rssi_dbm: null, ticks: '' },
      { ...radio, receiver: 'Truck', heard_t_s: T0 + 1 },
    ],
  };
  const receivers = radioLines(now(), told, T0 + 6.4);
  expect(receivers.map((r) => r.receiver)).toEqual(['Mast', 'Truck']);
  expect(receivers[0]?.lines[0]).toEqual({
    body: 'Body',
    heard: '< 1 s',
    loss: '2 %',
    signal: '−71 dBm',
    ticks: [12.5, 37.5, 87.5],
    silent: false,
  });
  expect(receivers[0]?.lines[1]).toMatchObject({
    heard: 'not heard',
    loss: 'loss –',
    signal: '',
    ticks: [],
    silent: true,
  });
  expect(receivers[1]?.lines[0]).toMatchObject({ heard: '5.4 s', silent: true });
  expect(bodiesOf(receivers)).toEqual(['Body', 'Cam A']);
});

it('says signal to noise where a receiver tells it, and why frames were wrong', () => {
  const radio = {
    receiver: 'Mast',
    body: 'Body',
    heard_t_s: T0,
    loss: 0,
    rssi_dbm: -71.4,
    snr_db: 9.2,
    ticks: '1',
    good: 9,
    wrong: 8,
    wrong_by: [
      { reason: 'garbage', count: 1 },
      { reason: 'checksum', count: 5 },
      { reason: 'too_long', count: 2 },
    ],
  };
  const foreign = { reason: 'not_taken', count: 3 };
  const told = {
    ...story(),
    radio: [
      radio,
      { ...radio, body: 'Cam A' },
      { ...radio, receiver: 'Truck', wrong: 0, wrong_by: [] },
      { ...radio, receiver: 'Hill', wrong: 0, wrong_by: [foreign] },
      { ...radio, receiver: 'Hut', wrong: 1, wrong_by: [foreign, { reason: 'no_json', count: 1 }] },
    ],
  };
  expect(radioLines(now(), told, T0)[0]?.lines[0]?.signal).toBe('−71 dBm, SNR 9 dB');
  expect(wrongLines(told)).toEqual([
    'Mast: 8 wrong frames (5 wrong checksum, 2 too long, 1 garbage).',
    'Truck: no frame was wrong.',
    'Hill: no frame was wrong. 3 from others not taken.',
    'Hut: 1 wrong frame (1 no JSON). 3 from others not taken.',
  ]);
  expect(wrongLines(null)).toEqual([]);
});

it('says what came over a link', () => {
  const link = { name: 'mast', up: true, reason: 'open', bytes: 0, no_frame: false, wrong: 0 };
  expect(linkWords(link)).toBe('up: open; 0 bytes received');
  expect(linkWords({ ...link, bytes: 12345 })).toBe('up: open; 12,345 bytes received');
  expect(linkWords({ ...link, up: false, reason: '', bytes: 1 })).toBe('down; 1 byte received');
  expect(linkWords({ ...link, bytes: 54000, wrong: 1560 })).toBe(
    'up: open; 54,000 bytes received, 1560 frames wrong',
  );
  expect(linkWords({ ...link, bytes: null })).toBe('up: open');
});

it('says how much the other station does not have yet', () => {
  const passing = { link: 'mast', to: 'a:1', up: true, words: '', pieces: null, bytes: null };
  expect(behindWords(passing)).toMatch(/^How much .* once it answers\.$/);
  expect(behindWords({ ...passing, pieces: 0, bytes: 0 })).toBe('It has all of it.');
  expect(behindWords({ ...passing, pieces: 1, bytes: 60 })).toBe('Not there yet: 1 piece, 60 bytes.');
  expect(behindWords({ ...passing, pieces: 20000, bytes: 1200000 })).toBe(
    'Not there yet: 20,000 pieces, 1,200,000 bytes.',
  );
});
