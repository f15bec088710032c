// Metric and imperial, in one place. Everything inside is SI; only what is shown passes through here.
// Factor: the international foot, 0.3048 m exactly.

export type Units = 'metric' | 'imperial';

export const METRES_PER_FOOT = 0.3048;
const FEET_PER_MILE = 5280;

export interface Scale {
  /** Shown value = SI value times this. */
  factor: number;
  unit: string;
}

export function lengthScale(units: Units): Scale {
  return units === 'metric' ? { factor: 1, unit: 'm' } : { factor: 1 / METRES_PER_FOOT, unit: 'ft' };
}

export function speedScale(units: Units): Scale {
  return units === 'metric' ? { factor: 1, unit: 'm/s' } : { factor: 1 / METRES_PER_FOOT, unit: 'ft/s' };
}

/** Far distances are said in kilometres or miles. */
export function distanceScale(metres: number, units: Units): Scale {
  if (units === 'metric') return metres < 9950 ? lengthScale(units) : { factor: 1e-3, unit: 'km' };
  return metres < 3000 ? lengthScale(units) : { factor: 1 / (METRES_PER_FOOT * FEET_PER_MILE), unit: 'mi' };
}

/** Digits after the point for a scale: far units have one. */
export function digitsOf(scale: Scale): number {
  return scale.unit === 'km' || scale.unit === 'mi' ? 1 : 0;
}

/** A number with a true minus and a comma in figures of five digits or more. */
export function decimal(value: number, digits = 0): string {
  const fixed = Math.abs(value).toFixed(digits);
  const [whole = '0', rest] = fixed.split('.');
  const grouped = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, ',') : whole;
  const negative = value < 0 && Number(fixed) !== 0;
  return (negative ? '−' : '') + grouped + (rest ? `.${rest}` : '');
}

export function length(metres: number, units: Units): string {
  const scale = lengthScale(units);
  return `${decimal(metres * scale.factor)} ${scale.unit}`;
}

export function distance(metres: number, units: Units): string {
  const scale = distanceScale(metres, units);
  return `${decimal(metres * scale.factor, digitsOf(scale))} ${scale.unit}`;
}

export function speed(mps: number, units: Units): string {
  const scale = speedScale(units);
  return `${decimal(mps * scale.factor)} ${scale.unit}`;
}

/** The station's words are metric; this says the same in the units chosen. */
export function inWords(words: string, units: Units): string {
  if (units === 'metric') return words;
  return words.replace(/(\d+(?:\.\d+)?)\s?(m\/s|km|m)(?![\w/²])/g, (_, figure: string, unit: string) => {
    const value = Number(figure);
    if (unit === 'm/s') return speed(value, units);
    return unit === 'km' ? distance(value * 1000, units) : length(value, units);
  });
}
