// Audits in words and figures, and the fan of predictions as points of a picture.
import type { Audits, AuditFigure, CueAudit, PredictionAudit } from '../lib/messages';
import { decimal, lengthScale, speedScale, type Scale, type Units } from '../lib/units';

function figure(value: number, scale: Scale, digits = 0): string {
  return `${decimal(value * scale.factor, digits)} ${scale.unit}`;
}

function interval(of: AuditFigure, scale: Scale, digits = 0): string {
  const [low, high] = [of.low, of.high].map((value) => decimal(value * scale.factor, digits));
  return `${low} to ${high}`;
}

const PASCAL: Scale = { factor: 1, unit: 'Pa' };
/** Pound-force a square inch: 6894.757 Pa. */
const PSI: Scale = { factor: 1 / 6894.757293168, unit: 'psi' };
const DEGREE: Scale = { factor: 180 / Math.PI, unit: '°' };
const NEWTON: Scale = { factor: 1, unit: 'N' };

export interface CueRow {
  cue: string;
  when: string;
  wanted: string;
  came: string;
  toApogee: string;
  height: string;
  climb: string;
  airspeed: string;
  /** Pressure of the air stream: half its density times the square of the airspeed. */
  dynamicPressure: string;
  lean: string;
  limit: string;
  over: boolean;
  /** What would have put it where it was wanted, and what else is to be said. */
  remarks: string[];
}

function limitOf(cue: CueAudit, units: Units): { words: string; over: boolean } {
  if (cue.limit === null) return { words: 'no limit', over: false };
  const [scale, was] =
    cue.limit_of === 'airspeed'
      ? [speedScale(units), cue.airspeed_mps]
      : cue.limit_of === 'dynamic_pressure'
        ? [PASCAL, cue.dynamic_pressure_pa]
        : [NEWTON, cue.opening_load_n];
  const limit = figure(cue.limit, scale);
  const verdict = {
    within: `within the limit of ${limit}`,
    over: `over the limit of ${limit}`,
    not_told: `perhaps over the limit of ${limit}`,
    none: `limit ${limit}, nothing to hold against it`,
  }[cue.verdict];
  const held = was === null ? '' : `: ${interval(was, scale)} ${scale.unit}`;
  return { words: verdict + held, over: cue.verdict === 'over' };
}

/** A figure with its half width, or with both ends where it lies aside. */
function ranged(of: AuditFigure | null, scale: Scale, digits = 0): string {
  if (of === null) return 'not known';
  const [above, below] = [of.high - of.value, of.value - of.low];
  const aside = Math.abs(above - below) > 0.5 * Math.max(above, below);
  if (aside) return `${figure(of.value, scale, digits)} (${interval(of, scale, digits)})`;
  return `${figure(of.value, scale, digits)} ± ${decimal(Math.max(above, below) * scale.factor, digits)}`;
}

/** A moment by the apogee: before it or after it. */
function byApogee(value: number | null): string {
  if (value === null) return 'not known';
  return Math.abs(value) < 0.005
    ? 'at apogee'
    : `${decimal(Math.abs(value), 2)} s ${value > 0 ? 'before' : 'after'}`;
}

const seconds = (value: number | null): string => (value === null ? 'not known' : `${decimal(value, 2)} s`);

export function cueRows(audits: Audits, units: Units): CueRow[] {
  return audits.cues.map((cue) => {
    const limit = limitOf(cue, units);
    const remarks: string[] = [];
    if (cue.commanded_by_s !== null) {
      const from = cue.commanded_after_s === null ? '' : `${decimal(cue.commanded_after_s, 2)} and `;
      remarks.push(
        from
          ? `Commanded between ${from}${decimal(cue.commanded_by_s, 2)} s.`
          : `Commanded by ${decimal(cue.commanded_by_s, 2)} s.`,
      );
    }
    if (cue.threshold !== null && Math.abs(cue.late_s ?? 0) >= 0.05) {
      const late = cue.late_s ?? 0;
      remarks.push(
        `${decimal(Math.abs(late), 2)} s ${late > 0 ? 'late' : 'early'}: told as "${cue.threshold}" it would have come when it was wanted.`,
      );
    }
    if (cue.remark !== null) remarks.push(cue.remark);
    return {
      cue: cue.cue,
      when: cue.when,
      wanted: seconds(cue.wanted_s),
      came:
        cue.came_s === null
          ? 'not seen'
          : `${decimal(cue.came_s, 2)} ± ${decimal(1.645 * (cue.came_sd_s ?? 0), 2)} s`,
      toApogee: byApogee(cue.to_apogee_s),
      height: ranged(cue.height_m, lengthScale(units)),
      climb: ranged(cue.climb_mps, speedScale(units)),
      airspeed: ranged(cue.airspeed_mps, speedScale(units)),
      dynamicPressure: ranged(
        cue.dynamic_pressure_pa,
        units === 'imperial' ? PSI : PASCAL,
        units === 'imperial' ? 2 : 0,
      ),
      lean: ranged(cue.lean_rad, DEGREE).replace(' °', '°'),
      limit: limit.words,
      over: limit.over,
      remarks,
    };
  });
}

/** What the flight says about the predictions, a sentence each. */
export function sentences(audit: PredictionAudit, units: Units): string[] {
  const length = lengthScale(units);
  const all = [
    `Apogee was ${figure(audit.apogee.height_m.value, length)} (${interval(audit.apogee.height_m, length)}), ` +
      `${decimal(audit.apogee.t_s, 2)} s after liftoff.`,
  ];
  for (const checked of audit.checked) {
    const held = checked.held_50
      ? 'inside the 50 % interval'
      : checked.held_90
        ? 'inside the 90 % interval'
        : 'outside the 90 % interval';
    all.push(
      `${checked.instant.charAt(0).toUpperCase()}${checked.instant.slice(1)}: ${figure(checked.height_m.value, length)} was predicted, ` +
        `${figure(Math.abs(checked.error_m), length)} too ${checked.error_m > 0 ? 'high' : 'low'}, ${held}; ` +
        `the sum by hand was ${figure(Math.abs(checked.hand_error_m), length)} too ${checked.hand_error_m > 0 ? 'high' : 'low'}.`,
    );
  }
  if (audit.held_90 !== null && audit.held_50 !== null) {
    all.push(
      `From burnout to apogee the 90 % interval held ${decimal(100 * audit.held_90)} % of the time, ` +
        `the 50 % one ${decimal(100 * audit.held_50)} %. One flight says little about either.`,
    );
  }
  if (audit.drag !== null) {
    const cd = audit.drag.cd;
    all.push(
      `Drag coefficient: told ${decimal(audit.drag.told_cd, 2)}, learned ${decimal(cd.value, 2)} ` +
        `(${decimal(cd.low, 2)} to ${decimal(cd.high, 2)}): the one to tell next time. ${audit.drag.words}`,
    );
  }
  if (audit.impulse !== null) all.push(audit.impulse.words);
  return [...all, ...audit.remarks];
}

export interface Picture {
  band90: string;
  band50: string;
  median: string;
  hand: string;
  truth: number;
  /** Labels of the axes: place and words. */
  heights: { at: number; words: string }[];
  times: { at: number; words: string }[];
}

function step(stretch: number, count: number): number {
  const rough = Math.max(stretch / count, 1e-9);
  const ten = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].map((factor) => factor * ten).find((one) => one >= rough) ?? 10 * ten;
}

/** The fan in a box of that size. The scale is that of the coast: what was said under power may lie beyond it. */
export function picture(audit: PredictionAudit, units: Units, width: number, height: number): Picture | null {
  const fan = audit.fan;
  if (fan.t_s.length < 2) return null;
  const scale = lengthScale(units);
  const truth = audit.apogee.height_m.value;
  const from = audit.checked[0]?.t_s ?? 0;
  const inside = [
    ...fan.p05.filter((_, i) => (fan.t_s[i] ?? 0) >= from),
    ...fan.p95.filter((_, i) => (fan.t_s[i] ?? 0) >= from),
  ];
  const reach = Math.min(
    Math.max(...inside.map((m) => Math.abs(m - truth)), 0.06 * Math.abs(truth)),
    0.6 * Math.abs(truth),
  );
  const [low, high] = [truth - 1.1 * reach, truth + 1.1 * reach];
  const x = (t: number): number => (width * t) / Math.max(audit.apogee.t_s, 1e-3);
  const y = (m: number): number => height * (1 - (Math.min(Math.max(m, low), high) - low) / (high - low));
  const points = (column: number[], order = 1): string[] => {
    const all = fan.t_s.map((t, i) => `${x(t).toFixed(1)},${y(column[i] ?? truth).toFixed(1)}`);
    return order < 0 ? all.reverse() : all;
  };
  const band = (a: number[], b: number[]): string => [...points(a), ...points(b, -1)].join(' ');
  const line = (column: number[]): string => {
    let pen = false;
    return fan.t_s
      .map((t, i) => {
        const m = column[i] ?? truth;
        if (m < low || m > high) {
          pen = false;
          return '';
        }
        const to = `${pen ? 'L' : 'M'}${x(t).toFixed(1)} ${y(m).toFixed(1)}`;
        pen = true;
        return to;
      })
      .join('');
  };
  const labels = (from: number, to: number, count: number, at: (value: number) => number, unit: string) => {
    const by = step(to - from, count);
    const all: { at: number; words: string }[] = [];
    for (let value = Math.ceil(from / by) * by; value <= to + 1e-9; value += by) {
      all.push({ at: at(value), words: decimal(value) });
    }
    const last = all.at(-1);
    if (last) last.words += ` ${unit}`;
    return all;
  };
  return {
    band90: band(fan.p05, fan.p95),
    band50: band(fan.p25, fan.p75),
    median: line(fan.p50),
    hand: line(fan.hand),
    truth: y(truth),
    heights: labels(low * scale.factor, high * scale.factor, 4, (v) => y(v / scale.factor), scale.unit),
    times: labels(0, audit.apogee.t_s, 6, x, 's'),
  };
}
