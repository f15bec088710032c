// The setup as a form: what was typed and not applied yet, and which mistakes stand at which field. Pure.
import type { FormEdit, FormFigure, FormSection, SetupMistake } from '../lib/messages';

/** What was typed at a figure. */
export interface Draft {
  value?: string;
  source?: string;
}

export type Drafts = Record<string, Draft>;

/** The value as it would be: typed, or as it stands. */
export function valueOf(figure: FormFigure, drafts: Drafts): string {
  return drafts[figure.key]?.value ?? figure.value ?? '';
}

export function sourceOf(figure: FormFigure, drafts: Drafts): string {
  return drafts[figure.key]?.source ?? figure.source;
}

/** The changes, in the order of the form; what was typed back to what it was is none. */
export function editsOf(sections: readonly FormSection[], drafts: Drafts): FormEdit[] {
  return sections
    .flatMap((s) => s.figures)
    .flatMap((figure): FormEdit[] => {
      const draft = drafts[figure.key];
      if (!draft) return [];
      const value = (draft.value ?? figure.value ?? '').trim();
      const told = (draft.source ?? figure.source).trim();
      const same = value === (figure.value ?? '') && told === figure.source;
      if (same || (value === '' && figure.value === null)) return [];
      return [
        {
          kind: 'tell',
          key: figure.key,
          value: value === '' ? null : value,
          source: told === figure.source ? null : told,
        },
      ];
    });
}

/** A mistake's own field, where the form has it; a mistake about a table stands at its first figure. */
export function fieldOf(mistake: SetupMistake, sections: readonly FormSection[]): string | null {
  const figures = sections.flatMap((s) => s.figures);
  if (figures.some((f) => f.key === mistake.key)) return mistake.key;
  const section = sections.find((s) => s.key === mistake.key);
  return section?.figures[0]?.key ?? null;
}

/** Masses of the parts as typed, and the told one: kg, `null` where a part's is no number. */
export function massesOf(
  sections: readonly FormSection[],
  drafts: Drafts,
): { parts: number; sum: number | null; told: number | null } {
  const number = (figure: FormFigure | undefined): number | null => {
    const text = figure ? valueOf(figure, drafts).trim() : '';
    return text !== '' && Number.isFinite(Number(text)) ? Number(text) : null;
  };
  const parts = sections.filter((s) => s.key.startsWith('vehicle.part['));
  const masses = parts.map((s) => number(s.figures.find((f) => f.key.endsWith('.mass_kg'))));
  const all = sections.flatMap((s) => s.figures);
  return {
    parts: parts.length,
    sum: masses.some((m) => m === null) ? null : masses.reduce<number>((sum, m) => sum + (m ?? 0), 0),
    told: number(all.find((f) => f.key === 'vehicle.liftoff_mass_kg')),
  };
}
