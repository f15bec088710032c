import { describe, expect, it } from 'vitest';
import type { FormFigure, FormSection } from '../lib/messages';
import {
  choicesOf,
  countOf,
  editsOf,
  fieldOf,
  listOf,
  massesOf,
  nextKey,
  NOTHING,
  shownOf,
  unitOf,
  type Draft,
  type Pending,
} from './form';

const figure = (key: string, value: string | null = null, more: Partial<FormFigure> = {}): FormFigure => ({
  key,
  label: key,
  unit: '',
  kind: 'number',
  choices: [],
  names_of: null,
  needed: false,
  value,
  source: '',
  default: value === null ? '25 %' : null,
  ...more,
});
const section = (key: string, figures: FormFigure[], more: Partial<FormSection> = {}): FormSection => ({
  key,
  title: key,
  removable: key.endsWith(']') && !key.endsWith('[]'),
  adds: key.endsWith('[]'),
  figures,
  ...more,
});
const list = (key: string, names: string[]): FormSection =>
  section(
    key,
    names.map((name) => figure(`${key}.${name}`)),
  );

const SECTIONS: FormSection[] = [
  section('vehicle', [
    figure('vehicle.liftoff_mass_kg', '34.0', { source: 'weighed' }),
    figure('vehicle.drag_spread_percent'),
  ]),
  section('vehicle.part[a]', [figure('vehicle.part[a].name', 'a'), figure('vehicle.part[a].mass_kg', '12')]),
  section('vehicle.part[b]', [
    figure('vehicle.part[b].name', 'b'),
    figure('vehicle.part[b].mass_kg', '21.5'),
  ]),
  list('vehicle.part[]', ['name', 'mass_kg']),
  section('body[Cam [1]]', [figure('body[Cam [1]].mass_kg', '2.6')]),
  section('body[Cam [1]].descent[1]', [figure('body[Cam [1]].descent[1].rate_mps', '20')]),
  section('body[Cam [1]].descent[2]', [figure('body[Cam [1]].descent[2].rate_mps', '6')]),
  list('body[Cam [1]].descent[]', ['cue', 'rate_mps']),
  list('body[]', ['name', 'mass_kg']),
  list('body[].descent[]', ['cue', 'rate_mps']),
  section('cue[out]', [
    figure('cue[out].body', 'Cam [1]', { kind: 'choice', choices: ['Cam [1]'], names_of: 'body' }),
  ]),
  list('cue[]', ['name', 'when', 'value']),
  section('checklist[1]', [figure('checklist[1].step', 'arm')]),
  list('checklist[]', ['step', 'who']),
];

const typed = (drafts: Record<string, string | Draft>, more: Partial<Pending> = {}): Pending => ({
  ...NOTHING,
  ...more,
  drafts: Object.fromEntries(
    Object.entries(drafts).map(([key, draft]) => [key, typeof draft === 'string' ? { value: draft } : draft]),
  ),
});
const tell = (key: string, value: string | null, source: string | null = null) => ({
  kind: 'tell',
  key,
  value,
  source,
});

describe('the form', () => {
  it('sends what differs, and nothing that was typed back', () => {
    const edits = (drafts: Record<string, string | Draft>) => editsOf(SECTIONS, typed(drafts));
    expect(edits({ 'vehicle.liftoff_mass_kg': '34.0', 'vehicle.drag_spread_percent': ' 10 ' })).toEqual([
      tell('vehicle.drag_spread_percent', '10'),
    ]);
    expect(edits({ 'vehicle.liftoff_mass_kg': '' })).toEqual([tell('vehicle.liftoff_mass_kg', null)]);
    expect(edits({ 'vehicle.liftoff_mass_kg': { source: 'scale 2' } })).toEqual([
      tell('vehicle.liftoff_mass_kg', '34.0', 'scale 2'),
    ]);
    expect(edits({ 'vehicle.drag_spread_percent': { value: '', source: 'x' } })).toEqual([]);
    // What stands beside a new name is told while the entry still has the old one.
    expect(edits({ 'vehicle.part[a].name': 'z', 'vehicle.part[a].mass_kg': '3' })).toEqual([
      tell('vehicle.part[a].mass_kg', '3'),
      tell('vehicle.part[a].name', 'z'),
    ]);
  });

  it('adds entries with what they bring, behind their lists, and keeps numbers right', () => {
    const cue = list('cue[]', ['name']);
    expect(nextKey(cue, NOTHING)).toBe('cue[+1]');
    const pending = typed(
      {
        'body[+1].name': ' Cam D ',
        'body[+1].mass_kg': '1.9',
        'body[+1].descent[+2].rate_mps': '7',
        'body[Cam [1]].descent[+3].rate_mps': '9',
        'checklist[+4].step': 'close',
        'checklist[+4].who': 'Mo',
      },
      {
        added: ['body[+1]', 'body[+1].descent[+2]', 'body[Cam [1]].descent[+3]', 'checklist[+4]'],
        gone: ['body[Cam [1]].descent[1]'],
      },
    );
    expect(nextKey(cue, pending)).toBe('cue[+5]');
    expect(editsOf(SECTIONS, pending)).toEqual([
      { kind: 'remove', key: 'body[Cam [1]].descent[1]' },
      { kind: 'add', list: 'body[Cam [1]].descent', name: '' },
      tell('body[Cam [1]].descent[2].rate_mps', '9'),
      { kind: 'add', list: 'body', name: 'Cam D' },
      tell('body[Cam D].mass_kg', '1.9'),
      { kind: 'add', list: 'body[Cam D].descent', name: '' },
      tell('body[Cam D].descent[1].rate_mps', '7'),
      { kind: 'add', list: 'checklist', name: 'close' },
      tell('checklist[2].who', 'Mo'),
    ]);
    expect(countOf(SECTIONS, pending)).toBe(5);
    const keys = shownOf(SECTIONS, pending).map((s) => s.section.key);
    expect(keys.slice(keys.indexOf('body[+1]'), keys.indexOf('cue[out]'))).toEqual([
      'body[+1]',
      'body[+1].descent[+2]',
      'body[+1].descent[]',
      'body[]',
    ]);
  });

  it('takes entries out from the end, with what hangs below them, and forgets what was typed there', () => {
    const pending = typed(
      { 'body[Cam [1]].mass_kg': '3', 'body[Cam [1]].descent[2].rate_mps': '5' },
      { gone: ['vehicle.part[a]', 'vehicle.part[b]', 'body[Cam [1]]', 'body[Cam [1]].descent[1]'] },
    );
    expect(editsOf(SECTIONS, pending)).toEqual([
      { kind: 'remove', key: 'body[Cam [1]]' },
      { kind: 'remove', key: 'vehicle.part[b]' },
      { kind: 'remove', key: 'vehicle.part[a]' },
    ]);
    expect(massesOf(SECTIONS, pending).parts).toBe(0);
    expect(shownOf(SECTIONS, pending).some((s) => s.section.key === 'body[Cam [1]].descent[]')).toBe(false);
  });

  it('puts a mistake at its field, whatever is new or goes', () => {
    const at = (key: string, pending = NOTHING) => fieldOf({ key }, SECTIONS, pending);
    expect(at('vehicle.liftoff_mass_kg')).toBe('vehicle.liftoff_mass_kg');
    expect(at('vehicle.part[b]')).toBe('vehicle.part[b].name');
    expect(at('layout[x].length')).toBeNull();
    const gone = typed({}, { gone: ['body[Cam [1]].descent[1]'] });
    expect(at('body[Cam [1]].descent[1].rate_mps', gone)).toBe('body[Cam [1]].descent[2].rate_mps');
    const long = 'a'.repeat(60);
    const added = typed(
      { 'cue[+1].name': 'out', 'cue[+2].name': long },
      { added: ['cue[+1]', 'cue[+2]', 'cue[+3]'] },
    );
    expect(at('cue[out].name', added)).toBe('cue[+1].name');
    expect(at('cue[].name', added)).toBe('cue[+3].name');
    const odd = typed({ 'cue[+1].name': 'x[' }, { added: ['cue[+1]'] });
    expect(at('cue[x[].name', odd)).toBe('cue[+1].name');
    expect(editsOf(SECTIONS, odd)).toEqual([{ kind: 'add', list: 'cue', name: 'x[' }]);
    expect(at(`cue[${'a'.repeat(40)}...].value`, added)).toBe('cue[+2].value');
    expect(at('cue[out].value[3]', added)).toBe('cue[+1].value');
    expect(listOf('body[Cam [1]].descent[2]')).toBe('body[Cam [1]].descent');
  });

  it('offers names that are new, leaves out those that go, and shows what stands there whatever it is', () => {
    const body = figure('cue[out].body', 'Cam [1]', {
      kind: 'choice',
      choices: ['Cam [1]'],
      names_of: 'body',
    });
    const added = typed({ 'body[+1].name': 'Cam D' }, { added: ['body[+1]'] });
    expect(choicesOf(body, SECTIONS, added)).toEqual(['Cam [1]', 'Cam D']);
    const gone = typed({ [body.key]: 'Cam D' }, { gone: ['body[Cam [1]]'] });
    expect(choicesOf(body, SECTIONS, gone)).toEqual(['Cam D']);
    expect(choicesOf(body, SECTIONS, typed({}, { gone: ['body[Cam [1]]'] }))).toEqual(['Cam [1]']);
  });

  it('says in which unit a cue goes', () => {
    const added = (when: string) => {
      const pending = typed({ 'cue[+1].when': when }, { added: ['cue[+1]'] });
      const cue = shownOf(SECTIONS, pending).find((s) => s.section.key === 'cue[+1]');
      const value = cue?.section.figures[2];
      return cue && value && unitOf(value, cue.section, pending);
    };
    expect([added('climb rate below'), added('height below'), added('after cue')]).toEqual(['m/s', 'm', 's']);
  });

  it('adds up the parts as typed', () => {
    expect(massesOf(SECTIONS, NOTHING)).toEqual({ parts: 2, sum: 33.5, told: 34 });
    expect(massesOf(SECTIONS, typed({ 'vehicle.part[a].mass_kg': '12,5' })).sum).toBeNull();
    const more = typed({ 'vehicle.part[+1].mass_kg': '0.5' }, { added: ['vehicle.part[+1]'] });
    expect(massesOf(SECTIONS, more)).toEqual({ parts: 3, sum: 34, told: 34 });
  });
});
