// What is asked of the cue planner, and its answer in words. Pure.
import type { Condition, CuePlan, CueWanted, Want } from '../lib/messages';
import { decimal, length, speed, type Units } from '../lib/units';

export interface Asked {
  cue: number;
  want: Want;
  lag_s: [number, number];
  delay_s: [number, number];
}

/** What the setup tells of a cue; a clock's cue begins at one second after apogee. */
export function begun(cues: readonly CueWanted[], cue: number): Asked | null {
  const told = cues[cue];
  if (!told) return null;
  return { cue, want: told.want ?? { kind: 'lead', s: -1 }, lag_s: told.lag_s, delay_s: told.delay_s };
}

export function query({ cue, want, lag_s, delay_s }: Asked): string {
  const wanted =
    want.kind === 'lead'
      ? `lead_s=${want.s}`
      : want.kind === 'climb'
        ? `climb_mps=${want.mps}`
        : `height_m=${want.m}`;
  return `cue=${cue}&${wanted}&lag_s=${lag_s[0]}&lag_spread_s=${lag_s[1]}&delay_s=${delay_s[0]}&delay_spread_s=${delay_s[1]}`;
}

/** One step more or less of what is wanted. */
export function stepped(want: Want, by: 1 | -1): Want {
  const round = (value: number): number => Math.round(value * 100) / 100;
  switch (want.kind) {
    case 'lead':
      return { kind: 'lead', s: round(want.s + 0.5 * by) };
    case 'climb':
      return { kind: 'climb', mps: round(want.mps + by) };
    case 'height':
      return { kind: 'height', m: Math.max(10, round(want.m + 10 * by)) };
  }
}

export function wantWords(want: Want, units: Units): string {
  switch (want.kind) {
    case 'lead':
      if (want.s === 0) return 'at apogee';
      return `${decimal(Math.abs(want.s), want.s % 1 ? 1 : 0)} s ${want.s > 0 ? 'before' : 'after'} apogee`;
    case 'climb':
      return `at ${speed1(want.mps, units)} of climb`;
    case 'height':
      return `at ${length(want.m, units)}, coming down`;
  }
}

export interface Line {
  name: string;
  value: string;
  why: string;
}

/** The condition, line by line, each with its reason. */
export function conditionLines(c: Condition, units: Units): Line[] {
  const lines: Line[] = [
    {
      name: 'Only once liftoff and burnout were detected',
      value: 'both',
      why: 'handling on the pad, the first half second of boost',
    },
    {
      name: 'Not before',
      value: `T+${c.earliest_s.toFixed(1)} s`,
      why: 'a burn that ends early, the gap between stages',
    },
  ];
  if (c.climb_mps !== null) {
    lines.push({
      name: 'Mach lockout',
      value: c.mach_lockout_s === null ? 'none needed' : `T+${c.mach_lockout_s.toFixed(1)} s`,
      why:
        c.mach_lockout_s === null
          ? 'Mach 0.7 is not reached'
          : 'a barometer dips falsely near Mach 1; an accelerometer does not',
    });
    lines.push({ name: 'Not below', value: length(c.least_height_m, units), why: 'half of the height then' });
    lines.push({
      name: 'Vertical speed falls to',
      value: speed1(c.climb_mps, units),
      why: 'as the electronics see it',
    });
  }
  if (c.height_m !== null) {
    lines.push({
      name: 'Only after apogee was detected',
      value: 'yes',
      why: 'it passes this height going up, too',
    });
    lines.push({
      name: 'Height falls to',
      value: length(c.height_m, units),
      why: 'as the electronics see it',
    });
  }
  lines.push({
    name: 'For so long on end',
    value: `${c.hold_s.toFixed(2)} s`,
    why: 'at least three samples: one bad one is not enough',
  });
  lines.push({
    name: 'Timer behind it',
    value: `T+${c.timer_s.toFixed(1)} s`,
    why:
      c.climb_mps === null
        ? 'acts if that height is never seen, once apogee was detected'
        : 'acts if that speed is never seen, above the least height all the same',
  });
  return lines;
}

/** With one decimal: a threshold is no round figure. */
export function speed1(mps: number, units: Units): string {
  const factor = units === 'metric' ? 1 : 1 / 0.3048;
  return `${decimal(mps * factor, 1)} ${units === 'metric' ? 'm/s' : 'ft/s'}`;
}

/** What the hand sum, drag and the spread come to, as sentences. */
export function summary(plan: CuePlan, units: Units): string[] {
  const said: string[] = [];
  if (plan.hand_mps !== null && plan.climb_mps) {
    said.push(
      `To act then, the electronics decide ${plan.ahead_s.toFixed(2)} s before, at ${speed1(plan.climb_mps.p50, units)} of climb (90 % ${speed1(plan.climb_mps.p05, units)} to ${speed1(plan.climb_mps.p95, units)}). By hand, without drag: v = g t = ${speed1(plan.hand_mps, units)}.`,
    );
  }
  if (plan.error_s) {
    said.push(
      `Over the drawn flights it acts ${signed(plan.error_s.p50)} s from what was wanted (90 % ${signed(plan.error_s.p05)} to ${signed(plan.error_s.p95)} s).`,
    );
  }
  if (plan.airspeed_mps) {
    const limit =
      plan.limit_mps === null ? '' : `; the limit is ${speed(plan.limit_mps, units)}, ${plan.limit_from}`;
    said.push(
      `Airspeed then: ${speed(plan.airspeed_mps.p50, units)}, up to ${speed(plan.airspeed_mps.p95, units)} (95 %)${limit}.`,
    );
  }
  if (plan.over !== null) {
    said.push(`Over the limit in ${decimal(100 * plan.over, 1)} % of a thousand drawn flights.`);
  }
  return said;
}

function signed(value: number): string {
  const fixed = decimal(Math.abs(value), 2);
  return Number(fixed) === 0 ? fixed : `${value < 0 ? '−' : '+'}${fixed}`;
}
