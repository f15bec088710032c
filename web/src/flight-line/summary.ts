// The picture in words, for whoever does not see it.
import { duration } from '../lib/age';
import { halfWidth } from '../lib/quantity';
import { decimal, lengthScale } from '../lib/units';
import type { Chart } from './data';

export function summary(chart: Chart | null, nowRel: number): string {
  if (!chart) return 'Height against time since liftoff. Nothing to draw yet.';
  const { unit } = lengthScale(chart.units);
  const said = ['Height, vertical speed and airspeed against time since liftoff.'];
  const last = chart.past.at(-1);
  if (chart.lifted && last?.height != null) {
    said.push(`At T+${duration(Math.max(0, nowRel))} the height is ${decimal(last.height)} ${unit}.`);
  }
  if (chart.silentFrom !== null) said.push(`No radio since T+${duration(Math.max(0, chart.silentFrom))}.`);
  if (chart.apogee) {
    const spread = chart.apogee.passed ? '' : `, give or take ${halfWidth(chart.apogee.height)}`;
    said.push(
      `Apogee ${chart.apogee.passed ? 'was' : 'is predicted'} at T+${duration(chart.apogee.t)}, ${decimal(chart.apogee.height.p50)} ${unit}${spread}.`,
    );
  }
  if (chart.landing) said.push(`Landing is predicted at T+${decimal(chart.landing.p50)} s.`);
  const happened = chart.flags.filter((f) => f.happened).map((f) => `${f.label} at ${duration(f.t)}`);
  const coming = chart.flags
    .filter((f) => !f.happened)
    .map((f) => `${f.label}${f.look ? (f.act ? ' (act)' : ' (look)') : ''} at ${duration(f.t)}`);
  if (happened.length) said.push(`Happened: ${happened.join('; ')}.`);
  if (coming.length) said.push(`To come: ${coming.join('; ')}.`);
  for (const mark of chart.marks.filter((m) => m.over)) said.push(`A cue over its limit: ${mark.words}.`);
  return said.join(' ');
}
