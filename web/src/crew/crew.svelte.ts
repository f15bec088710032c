// Whether this browser may act, and as whom; whether the crew's sheet is open.
import { act, getAbout, joinCrew, leaveCrew, Refused } from '../lib/api';
import type { About, Act } from '../lib/messages';
import { codeOf } from './words';

class Crew {
  about = $state.raw<About | null>(null);
  /** The sheet is open. */
  open = $state(false);
  /** A code that came with the link, to be joined with. */
  offered = $state('');
  /** Counts what was done from here, for whoever lists it. */
  deeds = $state(0);

  get canAct(): boolean {
    return this.about?.can_act ?? false;
  }

  /** Takes a code out of the address as soon as it is there; the returned function stops that. */
  follow(): () => void {
    const take = (): void => {
      const code = codeOf(location.hash);
      if (code === null) return;
      // Not to be seen, shared or kept with the address.
      history.replaceState(null, '', location.pathname + location.search);
      this.offered = code;
      this.open = true;
    };
    take();
    addEventListener('hashchange', take);
    return () => removeEventListener('hashchange', take);
  }

  /** Asks the station who this browser is to it. Without an answer it stays as it was. */
  async refresh(): Promise<void> {
    this.about = await getAbout().catch(() => this.about);
  }

  async join(code: string, who: string): Promise<void> {
    await joinCrew({ code, who });
    this.offered = '';
    await this.refresh();
  }

  async leave(): Promise<void> {
    await leaveCrew();
    await this.refresh();
  }

  /** Acts. Where the station no longer takes this browser for crew, the page says so at once. */
  async act(what: Act): Promise<void> {
    await this.keeping(() => act(what));
    this.deeds += 1;
  }

  /** Does something that only crew may. */
  async keeping<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (error) {
      if (error instanceof Refused && error.status === 403) await this.refresh();
      throw error;
    }
  }
}

export const crew = new Crew();

/** An error as a sentence. */
export function sentenceOf(error: unknown): string {
  return error instanceof Error ? error.message : 'That did not work.';
}
