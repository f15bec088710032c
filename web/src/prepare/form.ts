// The setup as a form: what was typed and not applied yet, what is to be added and taken out, and which mistakes stand
// at which field. Pure.
import type { FormEdit, FormFigure, FormSection, SetupMistake } from '../lib/messages';

/** What was typed at a figure. */
export interface Draft {
  value?: string;
  source?: string;
}

/** What is not applied yet. Keys of new entries have `+1`, `+2` between their brackets until they have a name. */
export interface Pending {
  drafts: Readonly<Record<string, Draft>>;
  /** Keys of new entries, in the order in which they came. */
  added: readonly string[];
  /** Keys of entries that are to be taken out. */
  gone: readonly string[];
}

export const NOTHING: Pending = { drafts: {}, added: [], gone: [] };

/** A section as it is shown, with its key in the text as it would be. */
export interface Shown {
  section: FormSection;
  /** Its key once everything is applied. */
  sent: string;
  /** The list that it is in then, and what it is called there. */
  list: string;
  name: string;
  /** `here`: in the file; `new`: to be added; `gone`: to be taken out; `offer`: what may be added. */
  state: 'here' | 'new' | 'gone' | 'offer';
}

/** The value as it would be: typed, or as it stands. */
export function valueOf(figure: FormFigure, { drafts }: Pending): string {
  return drafts[figure.key]?.value ?? figure.value ?? '';
}

export function sourceOf(figure: FormFigure, { drafts }: Pending): string {
  return drafts[figure.key]?.source ?? figure.source;
}

/** `body[Cam A].descent[2]` without its last brackets. */
export function listOf(key: string): string {
  let depth = 0;
  for (let at = key.length - 1; at >= 0; at -= 1) {
    if (key[at] === ']') depth += 1;
    if (key[at] === '[') depth -= 1;
    if (depth === 0) return key.slice(0, at);
  }
  return key;
}

/** The name of an entry, or its number, between its last brackets. */
const entryOf = (key: string): string => key.slice(listOf(key).length + 1, -1);

/** What may be added, as an entry of its own. */
function entry(offer: FormSection, key: string): FormSection {
  const figures = offer.figures.map((f) => ({ ...f, key: key + f.key.slice(offer.key.length) }));
  return { ...offer, key, figures, adds: false, removable: true };
}

/** The figure that an entry is called by. */
const named = (section: FormSection): FormFigure | undefined =>
  section.figures.find((f) => f.key === `${section.key}.name` || f.key === `${section.key}.step`);

/** The next key that no entry has. */
export function nextKey(offer: FormSection, { added }: Pending): string {
  const list = listOf(offer.key);
  const numbers = added.map((key) => Number(/\[\+(\d+)\]$/.exec(key)?.[1] ?? 0));
  return `${list}[+${Math.max(0, ...numbers) + 1}]`;
}

/** All that is shown, in the form's order: new entries behind those of their list, then what may be added. */
export function shownOf(sections: readonly FormSection[], pending: Pending): Shown[] {
  const all: Shown[] = [];
  const count = new Map<string, number>();
  const numbered = new Set(
    sections.filter((s) => s.adds && !named(s)?.key.endsWith('.name')).map((s) => listOf(s.key)),
  );
  /** The key in the text as it would be: numbers close up behind what is taken out. */
  const place = (section: FormSection, owner: string, own: string): Omit<Shown, 'section' | 'state'> => {
    const list = `${owner}${listOf(section.key).slice(own.length)}`;
    const number = (count.get(list) ?? 0) + 1;
    count.set(list, number);
    const figure = named(section);
    const name = figure ? valueOf(figure, pending).trim() : '';
    return { sent: `${list}[${figure?.key.endsWith('.name') ? name : number}]`, list, name };
  };
  const offered = (offer: FormSection, owner: string, own: string): void => {
    const within = sections.filter((s) => s.adds && s.key.startsWith(`${offer.key}.`));
    for (const key of pending.added.filter((k) => listOf(k) === listOf(offer.key))) {
      const section = entry(offer, key);
      const at = place(section, owner, own);
      all.push({ section, ...at, state: 'new' });
      for (const inner of within) {
        const key = section.key + inner.key.slice(offer.key.length);
        offered({ ...entry(inner, key), adds: true, removable: false }, at.sent, section.key);
      }
    }
    all.push({ section: offer, sent: offer.key, list: '', name: '', state: 'offer' });
  };
  const isGone = (key: string): boolean =>
    pending.gone.some((gone) => key === gone || key.startsWith(`${gone}.`));
  for (const section of sections) {
    if (section.adds) {
      // What a new entry may bring is offered in that entry; what an entry has that goes is not added to.
      const inner = sections.some((s) => s.adds && s !== section && section.key.startsWith(`${s.key}.`));
      if (!inner && !isGone(listOf(section.key))) offered(section, '', '');
    } else if (isGone(section.key)) {
      all.push({ section, sent: '', list: '', name: '', state: 'gone' });
    } else if (section.removable && (numbered.has(listOf(section.key)) || named(section))) {
      all.push({ section, ...place(section, '', ''), state: 'here' });
    } else {
      all.push({ section, sent: section.key, list: '', name: '', state: 'here' });
    }
  }
  return all;
}

/** Figures of a section that differ from the file, told at a key. */
function told(section: FormSection, at: string, pending: Pending): FormEdit[] {
  return section.figures.flatMap((figure): FormEdit[] => {
    const draft = pending.drafts[figure.key];
    if (!draft) return [];
    const value = (draft.value ?? figure.value ?? '').trim();
    const source = (draft.source ?? figure.source).trim();
    const same = value === (figure.value ?? '') && source === figure.source;
    if (same || (value === '' && figure.value === null)) return [];
    return [
      {
        kind: 'tell',
        key: at + figure.key.slice(section.key.length),
        value: value === '' ? null : value,
        source: source === figure.source ? null : source,
      },
    ];
  });
}

/** The changes: figures first, what goes from the end, as numbers close up, then what is new. What was typed back is none. */
export function editsOf(sections: readonly FormSection[], pending: Pending): FormEdit[] {
  const shown = shownOf(sections, pending);
  const here = shown.filter((s) => s.state === 'here');
  // A name is told last: what is told beside it still has the old one in its key.
  const tells = here.flatMap(({ section }) => {
    const name = named(section)?.key;
    const all = told(section, section.key, pending);
    return [
      ...all.filter((e) => 'key' in e && e.key !== name),
      ...all.filter((e) => 'key' in e && e.key === name),
    ];
  });
  const gone = shown
    .filter(({ section, state }) => state === 'gone' && pending.gone.includes(section.key))
    .filter(({ section }) => !pending.gone.some((owner) => section.key.startsWith(`${owner}.`)))
    .map(({ section }): FormEdit => ({ kind: 'remove', key: section.key }))
    .reverse();
  const added = shown
    .filter((s) => s.state === 'new')
    .flatMap(({ section, sent, list, name }): FormEdit[] => {
      const called = named(section);
      const rest = { ...section, figures: section.figures.filter((f) => f !== called) };
      return [{ kind: 'add', list, name }, ...told(rest, sent, pending)];
    });
  return [...tells, ...gone, ...added];
}

/** How many changes that is for people: a new entry is one, whatever it holds. */
export function countOf(sections: readonly FormSection[], pending: Pending): number {
  const here = shownOf(sections, pending).filter((s) => s.state === 'here');
  const tells = here.flatMap(({ section }) => told(section, section.key, pending)).length;
  return tells + pending.added.length + pending.gone.length;
}

/** Keys of mistakes have names cut short. */
const cut = (key: string): string =>
  key.replace(/\[([^[\]]{41,})\]/g, (_, name: string) => `[${[...name].slice(0, 40).join('')}...]`);

/** A mistake's own field, where the form has it; a mistake about a table stands at its first figure. */
export function fieldOf(
  mistake: Pick<SetupMistake, 'key'>,
  sections: readonly FormSection[],
  pending: Pending,
): string | null {
  // What is new comes first: two of one name are the new one's mistake.
  const shown = shownOf(sections, pending).filter((s) => s.state === 'here' || s.state === 'new');
  shown.sort((a, b) => Number(b.state === 'new') - Number(a.state === 'new'));
  const figures = shown.flatMap(({ section, sent }) =>
    section.figures.map((f) => ({ at: cut(sent + f.key.slice(section.key.length)), key: f.key })),
  );
  // A pair of a list stands at its list.
  for (const key of [cut(mistake.key), cut(listOf(mistake.key))]) {
    const figure = figures.find((f) => f.at === key);
    if (figure) return figure.key;
  }
  return shown.find((s) => cut(s.sent) === cut(mistake.key))?.section.figures[0]?.key ?? null;
}

/** What a figure may be: its choices, names of entries that are new, and what stands there, whatever it is. */
export function choicesOf(figure: FormFigure, sections: readonly FormSection[], pending: Pending): string[] {
  const list = figure.names_of;
  const without = pending.gone.filter((key) => listOf(key) === list).map(entryOf);
  const more = shownOf(sections, pending)
    .filter((s) => s.state === 'new' && list !== null && s.list === list)
    .map((s) => s.name);
  const all = [...figure.choices.filter((c) => !without.includes(c)), ...more, valueOf(figure, pending)];
  return [...new Set(all.filter((c) => c !== ''))];
}

/** A figure's unit; that of a cue's own figure hangs on when it acts. */
export function unitOf(figure: FormFigure, section: FormSection, pending: Pending): string {
  const when = section.figures.find((f) => f.key === `${section.key}.when`);
  if (!when || figure.key !== `${section.key}.value`) return figure.unit;
  const units: Record<string, string> = { '': figure.unit, 'climb rate below': 'm/s', 'height below': 'm' };
  return units[valueOf(when, pending)] ?? 's';
}

/** Masses of the parts as typed, and the told one: kg, `null` where a part's is no number. */
export function massesOf(
  sections: readonly FormSection[],
  pending: Pending,
): { parts: number; sum: number | null; told: number | null } {
  const number = (figure: FormFigure | undefined): number | null => {
    const text = figure ? valueOf(figure, pending).trim() : '';
    return text !== '' && Number.isFinite(Number(text)) ? Number(text) : null;
  };
  const shown = shownOf(sections, pending).filter((s) => s.state === 'here' || s.state === 'new');
  const parts = shown.map((s) => s.section).filter((s) => s.key.startsWith('vehicle.part['));
  const masses = parts.map((s) => number(s.figures.find((f) => f.key.endsWith('.mass_kg'))));
  const all = shown.flatMap((s) => s.section.figures);
  return {
    parts: parts.length,
    sum: masses.some((m) => m === null) ? null : masses.reduce<number>((sum, m) => sum + (m ?? 0), 0),
    told: number(all.find((f) => f.key === 'vehicle.liftoff_mass_kg')),
  };
}
