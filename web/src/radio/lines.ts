// How each transmitter is heard through each receiver, in words and ticks. Pure.
import { duration } from '../lib/age';
import type { LinkNow, Now, PassingNow, RadioNow, Story } from '../lib/messages';
import { decimal } from '../lib/units';

export interface RadioLine {
  body: string;
  heard: string;
  loss: string;
  signal: string;
  /** Where a tick stands, in percent of the width: a gap is a lost frame. */
  ticks: number[];
  silent: boolean;
}

/** What a receiver says comes twice a second: an age below this is not known any better, s. */
const KNOWN_S = 1;

export interface ReceiverLines {
  receiver: string;
  lines: RadioLine[];
}

export function radioLines(now: Now, story: Story | null, t_s: number): ReceiverLines[] {
  const receivers: ReceiverLines[] = [];
  for (const radio of story?.radio ?? []) {
    let group = receivers.find((r) => r.receiver === radio.receiver);
    if (!group) {
      group = { receiver: radio.receiver, lines: [] };
      receivers.push(group);
    }
    group.lines.push(lineOf(radio, now, t_s));
  }
  return receivers;
}

function lineOf(radio: RadioNow, now: Now, t_s: number): RadioLine {
  const age = radio.heard_t_s === null ? null : Math.max(0, t_s - radio.heard_t_s);
  const count = Math.max(1, radio.ticks.length);
  return {
    body: radio.body,
    heard: age === null ? 'not heard' : age < KNOWN_S ? '< 1 s' : duration(age),
    loss: radio.loss === null ? 'loss –' : `${Math.round(radio.loss * 100)} %`,
    signal: signalOf(radio),
    ticks: [...radio.ticks].flatMap((c, i) => (c === '1' ? [((i + 0.5) / count) * 100] : [])),
    // What a receiver says is twice a second behind, so its silence is called one step later.
    silent: age === null || age > now.stale_after_s + 0.5,
  };
}

function signalOf(radio: RadioNow): string {
  const parts = [];
  if (radio.rssi_dbm !== null) parts.push(`${decimal(radio.rssi_dbm)} dBm`);
  if (radio.snr_db !== null) parts.push(`SNR ${decimal(radio.snr_db)} dB`);
  return parts.join(', ');
}

/** What a reason is called; others as they are told. */
const REASONS: Record<string, string> = {
  checksum: 'wrong checksum',
  no_layout: 'no layout fits',
  unknown_transmitter: 'unknown transmitter',
  cobs: 'no COBS',
  slip: 'no SLIP',
  no_json: 'no JSON',
  no_number: 'column is no number',
};

/** How a link is, and what has come over it. */
export function linkWords(link: LinkNow): string {
  const state = `${link.up ? 'up' : 'down'}${link.reason ? `: ${link.reason}` : ''}`;
  if (link.bytes === null) return state;
  const wrong = link.wrong ? `, ${decimal(link.wrong)} ${link.wrong === 1 ? 'frame' : 'frames'} wrong` : '';
  return `${state}; ${decimal(link.bytes)} ${link.bytes === 1 ? 'byte' : 'bytes'} received${wrong}`;
}

/** How much the other station does not have yet. */
export function behindWords({ pieces, bytes }: PassingNow): string {
  if (pieces === null || bytes === null) return 'How much it does not have yet is known once it answers.';
  if (pieces === 0) return 'It has all of it.';
  return `Not there yet: ${decimal(pieces)} ${pieces === 1 ? 'piece' : 'pieces'}, ${decimal(bytes)} bytes.`;
}

/** How many frames of each receiver were wrong, and why, the most frequent first. */
export function wrongLines(story: Story | null): string[] {
  const told = new Map<string, RadioNow>();
  for (const radio of story?.radio ?? []) told.set(radio.receiver, radio);
  return [...told.values()].map((radio) => {
    // A packet of somebody else is good, and counted apart.
    const foreign = radio.wrong_by.find(({ reason }) => reason === 'not_taken')?.count ?? 0;
    const apart = foreign === 0 ? '' : ` ${foreign} from others not taken.`;
    if (radio.wrong === 0) return `${radio.receiver}: no frame was wrong.${apart}`;
    const wrong = radio.wrong_by.filter(({ reason }) => reason !== 'not_taken');
    const by = wrong.sort((a, b) => b.count - a.count);
    const parts = by.map(({ reason, count }) => `${count} ${REASONS[reason] ?? reason.replaceAll('_', ' ')}`);
    const count = radio.wrong === 1 ? '1 wrong frame' : `${radio.wrong} wrong frames`;
    return `${radio.receiver}: ${count} (${parts.join(', ')}).${apart}`;
  });
}

/** The bodies that any receiver lists, in order of first mention. */
export function bodiesOf(receivers: readonly ReceiverLines[]): string[] {
  return [...new Set(receivers.flatMap((r) => r.lines.map((l) => l.body)))];
}
