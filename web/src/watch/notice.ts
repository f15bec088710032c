// What stands under the sentence: the most urgent thing, the next where there is room, and how many more there are. Heads-ups
// come ranked from the station (by level, then by what is at stake); what the page itself knows is ranked around them.
import { clock, whole } from '../lib/age';
import type { Disk, HeadsUpNow, Level } from '../lib/messages';
import { inWords } from '../lib/units';
import { isDown, silentFor, type View } from './view';

export interface Notice {
  level: Level;
  words: string;
  /** The next thing, where there is room for it. */
  next?: Candidate | undefined;
  /** Further things that hold. */
  more: number;
}

interface Candidate {
  level: Level;
  words: string;
}

export function notices(
  view: View | null,
  lost: boolean,
  headsups: readonly HeadsUpNow[] | null = null,
): Candidate[] {
  const found: Candidate[] = [];
  const lostStation: Candidate = { level: 'look', words: 'Page lost the station, trying again.' };
  if (!view) return lost ? [lostStation] : [];
  const { now, units, t_s } = view;
  const holding = headsups ?? now.headsups;
  const said = (h: HeadsUpNow): Candidate => ({ level: h.level, words: inWords(h.words, units) });
  // What is for acting stays above all: the sentence tells that the station is gone while something flies.
  found.push(...holding.filter((h) => h.level === 'act').map(said));
  if (lost) found.push(lostStation);
  const unkept = notKept(view, lost);
  if (unkept) found.push({ level: 'act', words: unkept });
  if (now.lost_bytes > 0) found.push({ level: 'look', words: lostWords(now.lost_bytes) });
  found.push(...holding.filter((h) => h.level === 'look').map(said));
  // Once it is full there are stronger words.
  if (now.disk_room_s !== null && !unkept && !lost) {
    found.push({ level: 'look', words: roomWords(now.disk_room_s) });
  }
  const { story } = view;
  const charges = story?.flight === now.flight ? story.ground.pieces.flatMap((piece) => piece.charges) : [];
  if (now.bodies[0]?.phase === 'down' && charges.length > 0) {
    found.push({ level: 'look', words: liveWords(charges.length) });
  }
  const silence = silentFor(view);
  if (
    silence !== null &&
    !['waiting', 'down'].includes(now.bodies[0]?.phase ?? 'waiting') &&
    !holding.some((h) => h.key.includes('silen'))
  ) {
    found.push({ level: 'look', words: silenceWords(view) });
  }
  for (const link of view.story?.links ?? []) {
    if (!link.up)
      found.push({
        level: 'look',
        words: `Link ${link.name} is down${link.reason ? `: ${link.reason}` : ''}.`,
      });
  }
  (silence === null ? now.bodies : []).forEach((body, index) => {
    const age = body.heard_t_s === null ? null : t_s - body.heard_t_s;
    if (body.transmitter && age !== null && age > 10 && !isDown(view, index)) {
      found.push({ level: 'look', words: `${body.name} not heard for ${whole(age)}.` });
    }
  });
  return found;
}

/** What is shown: the first and, where there is `room`, the next, with the count of the rest. `leftOut` are heads-ups that did not
 * fit the message. What the sentence says already gives its place to the next of its level. */
export function notice(found: readonly Candidate[], leftOut = 0, sentence = '', room = false): Notice | null {
  const top = found[0];
  const first = found.find((c) => c.level === top?.level && c.words !== sentence) ?? top;
  if (!first) return null;
  const next = room ? found.find((c) => c !== first && c.words !== sentence) : undefined;
  const more = found.length - (next ? 2 : 1) + leftOut;
  return { ...first, ...(next && { next }), more };
}

/** A slow disk is not worth a word before it has kept nothing for so long: it mostly catches up in less. */
const HICCUP_S = 2;

const DISK: Record<Disk, [what: string, remedy: string]> = {
  slow: ['Disk slow', 'What comes waits in memory'],
  full: ['Disk full', 'Free some space'],
  read_only: ['Disk read-only', 'Make it writable'],
  locked: ['Store locked by another program', 'End that program'],
  failing: ['Disk failing', 'Look at the log of the station'],
};

function notKept({ now, t_s }: View, lost: boolean): string | null {
  const since = now.not_kept_since_s;
  if (since === null) return null;
  const disk = now.disk ?? 'slow';
  // What has become of the disk since the station was lost, nobody knows.
  if (disk === 'slow' && (lost ? now.t_s : t_s) - since < HICCUP_S) return null;
  const [what, remedy] = DISK[disk];
  return `${what}: not kept since ${clock(now.utc_s + (since - now.t_s))}. ${remedy}; the flight goes on.`;
}

/** Which ones stands in the list of the pieces, which is below on a phone: the hand that reaches for one may not have read it. */
function liveWords(charges: number): string {
  const many = charges === 1 ? 'A charge is' : `${charges} charges are`;
  return `${many} not confirmed fired: treat as live.`;
}

/** Said until the station is started again: what is gone is gone, and nobody should look for it in the record later. */
function lostWords(bytes: number): string {
  const much = bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
  return `${much} from the radio were lost: the disk took nothing for too long.`;
}

function roomWords(room_s: number): string {
  const hours = room_s / 3600;
  const long =
    hours < 1 ? 'less than an hour' : hours < 1.5 ? 'about an hour' : `about ${Math.floor(hours)} hours`;
  return `The disk has room for ${long} more. Free some space.`;
}

function silenceWords(view: View): string {
  const count = view.now.bodies.filter((b) => b.transmitter).length;
  const links = view.story?.links ?? [];
  const up = links.filter((l) => l.up).length;
  const who = count === 1 ? 'Silent: the transmitter.' : `Silent: all ${count} transmitters.`;
  if (links.length === 0) return who;
  if (up === links.length)
    return `${who} ${links.length === 1 ? 'The link is up.' : links.length === 2 ? 'Both links are up.' : 'All links are up.'}`;
  return `${who} ${up} of ${links.length} links up.`;
}
