// Installing the page as an app: the browser offers it, a person takes the offer with a press.
interface Offer extends Event {
  prompt(): Promise<unknown>;
}

class Install {
  offered = $state(false);
  private offer: Offer | null = null;

  /** Keeps the browser's offer for the button; and the shell for when the station does not answer. */
  begin(): void {
    addEventListener('beforeinstallprompt', (event) => {
      event.preventDefault();
      this.offer = event as Offer;
      this.offered = true;
    });
    addEventListener('appinstalled', () => (this.offered = false));
    // Absent over plain HTTP. A page without it merely does not open when the station is away.
    if (import.meta.env.PROD && 'serviceWorker' in navigator)
      navigator.serviceWorker.register('/worker.js').catch(() => undefined);
  }

  get installed(): boolean {
    return matchMedia('(display-mode: standalone)').matches;
  }

  async take(): Promise<void> {
    await this.offer?.prompt();
    this.offered = false;
  }
}

export const install = new Install();
