// How each transmitter is heard through each receiver, in words and ticks. Pure.
import { duration } from '../lib/age';
import type { Now, RadioNow, Story } from '../lib/messages';
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
    signal: radio.rssi_dbm === null ? '' : `${decimal(radio.rssi_dbm)} dBm`,
    ticks: [...radio.ticks].flatMap((c, i) => (c === '1' ? [((i + 0.5) / count) * 100] : [])),
    // What a receiver says is twice a second behind, so its silence is called one step later.
    silent: age === null || age > now.stale_after_s + 0.5,
  };
}

/** The bodies that any receiver lists, in order of first mention. */
export function bodiesOf(receivers: readonly ReceiverLines[]): string[] {
  return [...new Set(receivers.flatMap((r) => r.lines.map((l) => l.body)))];
}
