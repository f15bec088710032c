import { describe, expect, it } from 'vitest';
import type { Condition, CueWanted } from '../lib/messages';
import { begun, conditionLines, query, stepped, wantWords } from './plan';

const cue: CueWanted = {
  name: 'Cam A out',
  want: { kind: 'lead', s: 2 },
  limit: 25,
  limit_of: 'airspeed',
  limit_from: 'told by crew',
  lag_s: [0.1, 0.05],
  delay_s: [0.2, 0.1],
};

const condition: Condition = {
  earliest_s: 4.84,
  least_height_m: 150,
  mach_lockout_s: null,
  climb_mps: 21.63,
  height_m: null,
  hold_s: 0.1,
  timer_s: 11.2,
};

describe('the cue planner', () => {
  it('begins with what the setup tells, and asks for it', () => {
    const asked = begun([cue], 0);
    expect(asked && query(asked)).toBe(
      'cue=0&lead_s=2&lag_s=0.1&lag_spread_s=0.05&delay_s=0.2&delay_spread_s=0.1',
    );
    expect(begun([{ ...cue, want: null }], 0)?.want).toEqual({ kind: 'lead', s: -1 });
    expect(begun([cue], 3)).toBeNull();
  });

  it('steps what is wanted, also past apogee', () => {
    expect(stepped({ kind: 'lead', s: 0.5 }, -1)).toEqual({ kind: 'lead', s: 0 });
    expect(stepped({ kind: 'lead', s: 0 }, -1)).toEqual({ kind: 'lead', s: -0.5 });
    expect(stepped({ kind: 'height', m: 15 }, -1)).toEqual({ kind: 'height', m: 10 });
    expect(wantWords({ kind: 'lead', s: 2 }, 'metric')).toBe('2 s before apogee');
    expect(wantWords({ kind: 'lead', s: -0.5 }, 'metric')).toBe('0.5 s after apogee');
    expect(wantWords({ kind: 'lead', s: 0 }, 'metric')).toBe('at apogee');
    expect(wantWords({ kind: 'climb', mps: 19.6 }, 'metric')).toBe('at 19.6 m/s of climb');
    expect(wantWords({ kind: 'height', m: 150 }, 'imperial')).toBe('at 492 ft, coming down');
  });

  it('is never a bare speed: every condition has its guards and a timer', () => {
    const names = conditionLines(condition, 'metric').map((l) => l.name);
    expect(names).toEqual([
      'Only once liftoff and burnout were detected',
      'Not before',
      'Mach lockout',
      'Not below',
      'Vertical speed falls to',
      'For so long on end',
      'Timer behind it',
    ]);
    const height = conditionLines({ ...condition, climb_mps: null, height_m: 154 }, 'metric');
    expect(height.map((l) => l.name)).toContain('Only after apogee was detected');
    expect(height.at(-1)?.value).toBe('T+11.2 s');
  });
});
