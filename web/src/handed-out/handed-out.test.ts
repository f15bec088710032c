import { describe, expect, it } from 'vitest';
import type { Audits, AuditFigure, CueAudit, PredictionAudit } from '../lib/messages';
import { cueRows, picture, sentences } from './audit';
import { address, making, size } from './files';

const figure = (value: number, half: number): AuditFigure => ({
  value,
  low: value - half,
  high: value + half,
});

const cue: CueAudit = {
  cue: 'Cam A out',
  kind: 'release',
  body: 'Body',
  when: 'climbing less than 19.6 m/s, and 0.1 s of delay',
  wanted_s: 7.86,
  commanded_after_s: 7.86,
  commanded_by_s: 7.91,
  came_s: 7.96,
  came_sd_s: 0.02,
  came_as: 'reported',
  to_apogee_s: 1.85,
  late_s: 0.1,
  height_m: figure(385, 2),
  climb_mps: figure(18, 1),
  airspeed_mps: figure(43, 2),
  dynamic_pressure_pa: figure(918, 60),
  lean_rad: figure(1.137, 0.02),
  opening_load_n: null,
  limit_of: 'airspeed',
  limit: 25,
  limit_from: 'told by crew',
  verdict: 'over',
  threshold: 'climbing less than 20.6 m/s',
  threshold_value: 20.6,
  remark: null,
};

const prediction: PredictionAudit = {
  apogee: { t_s: 9.75, height_m: figure(401, 2), airspeed_mps: null, ground_speed_mps: null },
  fan: {
    t_s: [1, 3, 6, 9],
    p50: [900, 390, 400, 402],
    p05: [700, 370, 395, 400],
    p25: [800, 385, 398, 401],
    p75: [950, 396, 402, 403],
    p95: [999, 410, 405, 404],
    hand: [200, 440, 405, 402],
  },
  checked: [
    {
      instant: '0.5 s after burnout',
      t_s: 2.9,
      height_m: figure(383, 15),
      error_m: -18,
      hand_error_m: 43,
      time_error_s: -0.3,
      airspeed_error_mps: null,
      held_90: false,
      held_50: false,
    },
  ],
  held_90: 0.8,
  held_50: 0.4,
  drag: null,
  impulse: null,
  remarks: ['The drag cannot be told.'],
};

const audits: Audits = {
  flight: 1,
  measured_against: 'the path with hindsight',
  hindsight: true,
  cues: [
    cue,
    {
      ...cue,
      cue: 'main out',
      came_s: null,
      limit: null,
      late_s: null,
      remark: 'Nothing shows that it came.',
    },
  ],
  prediction,
  remarks: [],
};

describe('what is handed out', () => {
  it('has an address with what was told and nothing that was not', () => {
    expect(address(3, 'estimates.csv', { rate_hz: '', columns: 'utc,body' })).toBe(
      '/api/flights/3/files/estimates.csv?columns=utc%2Cbody',
    );
    expect(address('2026-06-12', 'bundle.zip', {})).toBe('/api/days/2026-06-12/files/bundle.zip');
  });

  it('says how far it is', () => {
    const state = { done: 45, total: 90, ready: false, bytes: null, digest: null };
    expect(making('a.csv', state)).toBe('a.csv: 50 %');
    expect(making('a.csv', { ...state, done: 0, total: 0 })).toContain('hindsight');
    expect(making('a.csv', { ...state, ready: true, bytes: 1234567 })).toBe('a.csv is made: 1.2 MB.');
    expect(size(999_600)).toBe('1.0 MB');
    expect(size(12)).toBe('12 bytes');
  });
});

describe('audits', () => {
  it('say of a cue when it came, what the air did, and which threshold would have been right', () => {
    const [row, other] = cueRows(audits, 'metric');
    expect(row).toMatchObject({
      came: '7.96 ± 0.03 s',
      toApogee: '1.85 s before',
      airspeed: '43 m/s ± 2',
      dynamicPressure: '918 Pa ± 60',
      lean: '65° ± 1',
      over: true,
    });
    expect(row?.limit).toBe('over the limit of 25 m/s: 41 to 45 m/s');
    expect(row?.remarks.join(' ')).toContain('0.10 s late: told as "climbing less than 20.6 m/s"');
    expect(other).toMatchObject({ came: 'not seen', limit: 'no limit', over: false });
    expect(cueRows(audits, 'imperial')[0]?.airspeed).toBe('141 ft/s ± 7');
  });

  it('say how far predictions were off and on which side', () => {
    const all = sentences(prediction, 'metric').join(' ');
    expect(all).toContain('18 m too low, outside the 90 % interval; the sum by hand was 43 m too high');
    expect(all).toContain('held 80 % of the time');
    expect(all).toContain('The drag cannot be told.');
  });

  it('draw the fan at the scale of the coast', () => {
    const drawn = picture(prediction, 'metric', 600, 200);
    expect(drawn?.truth).toBeCloseTo(100);
    // What was said under power lies beyond the paper: the line begins with the second point.
    expect(drawn?.median.startsWith('M184.6')).toBe(true);
    expect(drawn?.heights.at(-1)?.words).toMatch(/ m$/);
    expect(picture({ ...prediction, fan: { ...prediction.fan, t_s: [] } }, 'metric', 600, 200)).toBeNull();
  });
});
