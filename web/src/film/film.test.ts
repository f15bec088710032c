import { crc32 as another } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { T0, now } from '../lib/fixtures';
import type { FootageInfo } from '../lib/messages';
import { captionsOf } from './captions';
import { nameOf, planOf, planOver } from './frames';
import { Moments } from './moments';
import { crc32, Zip } from './zip';

describe('the frames of an overlay', () => {
  it('are counted by exact fractions: an hour of 29.97 is 107,892 frames and drifts by nothing', () => {
    const plan = planOf([30000, 1001], 1000, 1000 + 3600);
    expect(plan.count).toBe(Math.ceil((3600 * 30000) / 1001));
    expect(plan.at(0)).toBe(1000);
    expect(plan.at(30000)).toBe(1000 + 1001);
    expect(planOf([24000, 1001], 0, 1001 / 24000).count).toBe(1);
    expect(planOf([60, 1], 0, 60).count).toBe(3600);
  });

  it('over footage bear the numbers of its own frames', () => {
    const camera: FootageInfo = { camera: 'a', file: 'a', rate: [30000, 1001], moments: [[12.5, 1000]] };
    const plan = planOver(camera, 998, 1010);
    expect(plan?.first).toBe(Math.floor((10.5 * 30000) / 1001));
    expect(plan?.at(plan.first)).toBeCloseTo(998, 1);
    const frame = 400;
    expect(plan?.at(frame)).toBeCloseTo(1000 + (frame * 1001) / 30000 - 12.5, 9);
    // Footage that began later than that part of the flight has frames from its first one on.
    expect(planOver(camera, 900, 1010)?.first).toBe(0);
    expect(planOver(camera, 900, 950)).toBeNull();
    expect(nameOf(437)).toBe('overlay-000437.png');
  });

  it('captions are asked for in step with the footage', () => {
    const camera: FootageInfo = { camera: 'a', file: 'a', rate: [30000, 1001], moments: [[12.5, 1000]] };
    const flight = { number: 3, liftoff_s: 1000, opened_s: 900 };
    expect(captionsOf(flight, camera, 'metric').vtt).toBe(
      '/api/flights/3/files/captions.vtt?units=si&starts_s=-12.500000&clock_rate=1.000000000',
    );
    expect(captionsOf(flight, null, 'imperial').srt).toBe('/api/flights/3/files/captions.srt?units=imperial');
  });
});

describe('the flight as messages', () => {
  it('are given out by the instant that they belong to, wherever the stream is cut', async () => {
    const message = (t: number): object[] => [
      ...(t % 0.2 < 0.01 ? [{ kind: 'picture', t_s: T0 + t, flight: 1 }] : []),
      { kind: 'now', ...now({ t_s: T0 + t }) },
    ];
    const text = Array.from({ length: 40 }, (_, i) => message(Math.round(i * 5) / 100))
      .flat()
      .map((m) => JSON.stringify(m) + '\n')
      .join('');
    const bytes = new TextEncoder().encode(text);
    for (const cut of [1000, 4099, bytes.length]) {
      const stream = new ReadableStream<Uint8Array<ArrayBuffer>>({
        start(to) {
          for (let i = 0; i < bytes.length; i += cut) to.enqueue(bytes.slice(i, i + cut));
          to.close();
        },
      });
      const moments = new Moments(stream);
      expect((await moments.at(T0 - 5))?.now.t_s).toBe(T0);
      expect((await moments.at(T0 + 0.51))?.now.t_s).toBe(T0 + 0.5);
      const later = await moments.at(T0 + 0.99);
      expect([later?.now.t_s, later?.picture?.t_s]).toEqual([T0 + 0.95, T0 + 0.8]);
      expect((await moments.at(T0 + 99))?.now.t_s).toBe(T0 + 1.95);
    }
  });
});

describe('the zip', () => {
  it('has the sums that others compute', () => {
    const bytes = Uint8Array.from({ length: 3000 }, (_, i) => (i * i) & 0xff);
    expect(crc32(bytes)).toBe(another(bytes));
    // The check value of CRC-32/ISO-HDLC in the public catalogue.
    expect(crc32(new TextEncoder().encode('123456789'))).toBe(0xcbf43926);
  });

  it('holds its files where its list says', async () => {
    const parts: Uint8Array[] = [];
    const zip = new Zip((bytes) => void parts.push(bytes), new Date(2026, 10, 25, 12, 30, 10));
    const files = [0, 1, 2].map((n) => Uint8Array.from({ length: 10 + n }, (_, i) => i + n));
    for (const [n, file] of files.entries()) await zip.add(`é-${n}.png`, file);
    await zip.close();
    const all = Buffer.concat(parts);
    const end = all.length - 22;
    expect(all.readUInt32LE(end)).toBe(0x06054b50);
    expect(all.readUInt16LE(end + 10)).toBe(3);
    let at = all.readUInt32LE(end + 16);
    expect(at + all.readUInt32LE(end + 12)).toBe(end);
    for (const [n, file] of files.entries()) {
      expect(all.readUInt32LE(at)).toBe(0x02014b50);
      const length = all.readUInt16LE(at + 28);
      expect(all.subarray(at + 46, at + 46 + length).toString()).toBe(`é-${n}.png`);
      expect(all.readUInt32LE(at + 16)).toBe(another(file));
      const local = all.readUInt32LE(at + 42);
      expect(all.readUInt32LE(local)).toBe(0x04034b50);
      const body = local + 30 + length;
      expect([...all.subarray(body, body + file.length)]).toEqual([...file]);
      at += 46 + length;
    }
  });

  it('counts more files than 16 bits hold', async () => {
    const parts: Uint8Array[] = [];
    const zip = new Zip((bytes) => void parts.push(bytes), new Date());
    const empty = new Uint8Array(0);
    for (let n = 0; n < 70_000; n += 1) await zip.add(`${n}`, empty);
    await zip.close();
    const all = Buffer.concat(parts.slice(-3));
    const wide = all.indexOf(Buffer.from([0x50, 0x4b, 6, 6]));
    expect(Number(all.readBigUInt64LE(wide + 32))).toBe(70_000);
    expect(all.readUInt16LE(all.length - 22 + 10)).toBe(0xffff);
  });
});
