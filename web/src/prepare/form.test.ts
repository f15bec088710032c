import { describe, expect, it } from 'vitest';
import type { FormFigure, FormSection, SetupMistake } from '../lib/messages';
import { editsOf, fieldOf, massesOf } from './form';

const figure = (key: string, value: string | null, source = ''): FormFigure => ({
  key,
  label: key,
  unit: '',
  number: true,
  value,
  source,
  default: value === null ? '25 %' : null,
});

const SECTIONS: FormSection[] = [
  {
    key: 'vehicle',
    title: 'Vehicle',
    removable: false,
    figures: [
      figure('vehicle.liftoff_mass_kg', '34.0', 'weighed'),
      figure('vehicle.drag_spread_percent', null),
    ],
  },
  { key: 'vehicle.part[a]', title: 'a', removable: true, figures: [figure('vehicle.part[a].mass_kg', '12')] },
  {
    key: 'vehicle.part[b]',
    title: 'b',
    removable: true,
    figures: [figure('vehicle.part[b].mass_kg', '21.5')],
  },
];

describe('the form', () => {
  it('sends what differs, and nothing that was typed back', () => {
    expect(
      editsOf(SECTIONS, {
        'vehicle.liftoff_mass_kg': { value: '34.0' },
        'vehicle.drag_spread_percent': { value: ' 10 ' },
      }),
    ).toEqual([{ kind: 'tell', key: 'vehicle.drag_spread_percent', value: '10', source: null }]);
    expect(editsOf(SECTIONS, { 'vehicle.liftoff_mass_kg': { value: '' } })).toEqual([
      { kind: 'tell', key: 'vehicle.liftoff_mass_kg', value: null, source: null },
    ]);
    expect(editsOf(SECTIONS, { 'vehicle.liftoff_mass_kg': { source: 'scale 2' } })).toEqual([
      { kind: 'tell', key: 'vehicle.liftoff_mass_kg', value: '34.0', source: 'scale 2' },
    ]);
    expect(editsOf(SECTIONS, { 'vehicle.drag_spread_percent': { value: '', source: 'x' } })).toEqual([]);
  });

  it('puts a mistake at its field', () => {
    const at = (key: string): string | null =>
      fieldOf(
        { line: 1, column: 1, key, expected: '', found: '', hint: null } satisfies SetupMistake,
        SECTIONS,
      );
    expect(at('vehicle.liftoff_mass_kg')).toBe('vehicle.liftoff_mass_kg');
    expect(at('vehicle.part[b]')).toBe('vehicle.part[b].mass_kg');
    expect(at('layout[x].length')).toBeNull();
  });

  it('adds up the parts as typed', () => {
    expect(massesOf(SECTIONS, {})).toEqual({ parts: 2, sum: 33.5, told: 34 });
    expect(massesOf(SECTIONS, { 'vehicle.part[a].mass_kg': { value: '12,5' } }).sum).toBeNull();
  });
});
