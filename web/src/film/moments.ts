// The flight as messages, for a film: read from the station in one stream, given out by the instant they belong to.
import type { Message, Now, Picture, Story } from '../lib/messages';

export interface Moment {
  now: Now;
  picture: Picture | null;
  story: Story | null;
}

export class Moments {
  private readonly reader: ReadableStreamDefaultReader<string>;
  private rest = '';
  private waiting: Message[] = [];
  private ended = false;
  private held: { now: Now | null; picture: Picture | null; story: Story | null } = {
    now: null,
    picture: null,
    story: null,
  };

  constructor(body: ReadableStream<Uint8Array<ArrayBuffer>>) {
    this.reader = body.pipeThrough(new TextDecoderStream()).getReader();
  }

  /** Everything as it was known at an instant. Instants are asked for in order. */
  async at(t_s: number): Promise<Moment | null> {
    for (;;) {
      const next = this.waiting[0] ?? (await this.more());
      if (!next) break;
      // A story and a picture stand before the message that they belong to.
      const later = this.waiting.find((m) => m.kind === 'now');
      const belongs = next.kind === 'now' ? next : later;
      if (belongs?.kind === 'now' && belongs.t_s > t_s && this.held.now) break;
      if (!belongs && !this.ended) {
        await this.more();
        continue;
      }
      this.waiting.shift();
      if (next.kind === 'now') this.held.now = next;
      else if (next.kind === 'picture') this.held.picture = next;
      else if (next.kind === 'story') this.held.story = next;
    }
    const { now, picture, story } = this.held;
    return now && { now, picture, story };
  }

  async cancel(): Promise<void> {
    await this.reader.cancel().catch(() => undefined);
  }

  /** Reads on; gives the first message that waits. */
  private async more(): Promise<Message | undefined> {
    if (this.ended) return this.waiting[0];
    const { done, value } = await this.reader.read();
    if (done) this.ended = true;
    const lines = (this.rest + (value ?? '')).split('\n');
    this.rest = lines.pop() ?? '';
    for (const line of lines) if (line) this.waiting.push(JSON.parse(line) as Message);
    return this.waiting[0] ?? (done ? undefined : this.more());
  }
}
