// Where this device is, once a person has asked for it to be shown. The place stays in the browser: it is sent to nobody.
import type { FixNow } from './messages';

export type HereState = 'off' | 'asking' | 'known' | 'refused' | 'unknown' | 'insecure';

export interface HereFix extends Pick<FixNow, 'latitude_deg' | 'longitude_deg'> {
  /** 95 % radius, as the browser states it (W3C Geolocation), m. */
  accuracy_m: number;
  /** When it was taken, by the page's own clock, ms. */
  at_ms: number;
}

/** What of the browser it needs; another one in tests. */
export interface Surroundings {
  geolocation: Geolocation | undefined;
  secure: boolean;
  nowMs: () => number;
}

const browser = (): Surroundings => ({
  geolocation: navigator.geolocation,
  secure: window.isSecureContext,
  nowMs: () => performance.now(),
});

export class Here {
  state = $state<HereState>('off');
  fix = $state.raw<HereFix | null>(null);
  private watch: number | null = null;
  private around: Surroundings | null = null;

  constructor(private readonly find: () => Surroundings = browser) {}

  /** Asks the browser, which asks the person; a press on a button leads here. */
  show(): void {
    if (this.watch !== null) return;
    const around = (this.around = this.find());
    if (!around.secure || !around.geolocation) {
      this.state = around.secure ? 'unknown' : 'insecure';
      return;
    }
    this.state = 'asking';
    this.watch = around.geolocation.watchPosition(
      ({ coords }) => {
        this.fix = {
          latitude_deg: coords.latitude,
          longitude_deg: coords.longitude,
          accuracy_m: coords.accuracy,
          at_ms: around.nowMs(),
        };
        this.state = 'known';
      },
      (error) => {
        if (error.code === error.PERMISSION_DENIED) {
          this.hide();
          this.state = 'refused';
        } else if (!this.fix) this.state = 'unknown';
        // With a fix the last one stays, and its age tells.
      },
      { enableHighAccuracy: true, maximumAge: 5000 },
    );
  }

  hide(): void {
    if (this.watch !== null) this.around?.geolocation?.clearWatch(this.watch);
    this.watch = null;
    this.fix = null;
    this.state = 'off';
  }
}

export const here = new Here();
