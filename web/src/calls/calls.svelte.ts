// Whether this page calls out, and the calls on their way from the station to the voice.
import { settings } from '../lib/settings.svelte';
import type { Station } from '../lib/station.svelte';
import { Caller } from './calls';
import { Queue } from './queue';
import { Voice } from './voice';

/** How often the queue is looked at: a countdown is to be even, ms. */
const LOOK_MS = 50;

class CallOuts {
  armed = $state(false);
  heights = $state(false);
  /** What was said last, for whoever reads. */
  last = $state('');
  /** Whether words are heard, or tones alone. */
  speaks = $state(true);
  private readonly voice = new Voice();
  private busy = false;

  get hasVoice(): boolean {
    return this.voice.speaks;
  }

  /** From a press on a button. */
  arm(): void {
    this.voice.wake();
    this.armed = true;
    void this.say({ words: 'Call-outs on', sound: 'mark' });
  }

  disarm(): void {
    this.armed = false;
    this.last = '';
    this.voice.hush();
    this.busy = false;
  }

  /** Calls out what a station tells; the returned function ends it. */
  follow(station: Station): () => void {
    const caller = new Caller();
    const queue = new Queue();
    const stop = station.onMessage(() => {
      const { now } = station;
      if (!now) return;
      const { picture, story } = station.latest;
      const t_s = station.timeAt(performance.now());
      // What did not fit the quick message stands in the picture.
      const all =
        now.headsups_left_out > 0 && picture?.flight === now.flight ? picture.headsups : now.headsups;
      const told = { now, story, headsups: all, t_s, units: settings.units, heights: this.heights };
      queue.take(caller.take(told), t_s);
    });
    const timer = setInterval(() => {
      // What comes while the voice is busy waits, and is dropped there when it is late. Without a station nothing is current.
      if (this.busy || station.lost) return;
      const next = queue.next(station.timeAt(performance.now()));
      if (next) void this.say(next);
    }, LOOK_MS);
    return () => {
      stop();
      clearInterval(timer);
    };
  }

  private async say(call: Parameters<Voice['say']>[0]): Promise<void> {
    this.busy = true;
    this.speaks = this.voice.speaks;
    this.last = call.words;
    await this.voice.say(call);
    this.busy = false;
  }
}

export const callOuts = new CallOuts();
