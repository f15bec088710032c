// A file on its way: asked for, made by the station, then handed to the browser, which goes on where a download broke.
import { fileState } from '../lib/api';
import { making } from './files';

/** How often it is asked how far a file is. */
const ASK_EVERY_MS = 400;

export class Maker {
  /** What is going on, for everybody to read; empty when nothing is. */
  words = $state('');
  share = $state<number | null>(null);
  failed = $state(false);
  busy = $state(false);

  /** Waits until the file at that address is made. Says whether it is. */
  async ready(url: string, name: string): Promise<boolean> {
    if (this.busy) return false;
    this.busy = true;
    this.failed = false;
    this.share = null;
    try {
      for (;;) {
        const state = await fileState(url);
        this.words = making(name, state);
        this.share = state.total > 0 ? Math.min(1, state.done / state.total) : null;
        if (state.ready) return true;
        await new Promise((wake) => setTimeout(wake, ASK_EVERY_MS));
      }
    } catch (error) {
      this.failed = true;
      this.share = null;
      this.words = error instanceof Error ? error.message : 'The file could not be made.';
      return false;
    } finally {
      this.busy = false;
    }
  }

  /** Makes it, then lets the browser fetch it. */
  async fetch(url: string, name: string): Promise<void> {
    if (!(await this.ready(url, name))) return;
    // From here on it is the browser's: a page is not told whether a download came to its end.
    this.words +=
      ' The browser fetches it; if that breaks off, resume it among the downloads or press again.';
    const link = document.createElement('a');
    link.href = url;
    link.download = '';
    document.body.append(link);
    link.click();
    link.remove();
  }
}
