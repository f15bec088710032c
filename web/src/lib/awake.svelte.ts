// Keeps the screen on while a flight is watched, where the browser allows it.
export type AwakeState = 'off' | 'on' | 'insecure' | 'unable' | 'refused';

class Awake {
  state = $state<AwakeState>('off');
  private lock: WakeLockSentinel | null = null;
  private wanted = false;

  /** Keeps it on until the returned function is called. A page that is hidden loses the lock and asks again when shown. */
  keep(): () => void {
    this.wanted = true;
    const ask = (): void => {
      if (document.visibilityState === 'visible') void this.ask();
    };
    ask();
    document.addEventListener('visibilitychange', ask);
    return () => {
      this.wanted = false;
      document.removeEventListener('visibilitychange', ask);
      void this.lock?.release();
      this.lock = null;
      this.state = 'off';
    };
  }

  private async ask(): Promise<void> {
    if (this.lock && !this.lock.released) return;
    if (!('wakeLock' in navigator)) {
      this.state = window.isSecureContext ? 'unable' : 'insecure';
      return;
    }
    try {
      const lock = await navigator.wakeLock.request('screen');
      // Not wanted any more while the browser thought about it.
      if (!this.wanted) return void lock.release();
      this.lock = lock;
      this.state = 'on';
    } catch {
      // A battery that is nearly empty, or a setting.
      this.state = 'refused';
    }
  }
}

export const awake = new Awake();
