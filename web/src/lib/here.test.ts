import { describe, expect, it } from 'vitest';
import { Here } from './here.svelte';

function device(secure = true) {
  let found: PositionCallback | null = null;
  let failed: PositionErrorCallback | null | undefined = null;
  let watching = 0;
  const geolocation = {
    watchPosition: (ok: PositionCallback, bad?: PositionErrorCallback | null) => {
      found = ok;
      failed = bad;
      watching += 1;
      return 7;
    },
    clearWatch: (id: number) => {
      expect(id).toBe(7);
      watching -= 1;
    },
    getCurrentPosition: () => undefined,
  } as Geolocation;
  const coords = { latitude: 38.25, longitude: -117.35, accuracy: 8 } as GeolocationCoordinates;
  return {
    here: new Here(() => ({ geolocation, secure, nowMs: () => 1234 })),
    find: () => found?.({ coords, timestamp: 0 } as GeolocationPosition),
    fail: (code: number) =>
      failed?.({
        code,
        PERMISSION_DENIED: 1,
        POSITION_UNAVAILABLE: 2,
        TIMEOUT: 3,
      } as GeolocationPositionError),
    watching: () => watching,
  };
}

describe('the own place', () => {
  it('is asked for only when a person wants it, and let go of again', () => {
    const { here, find, watching } = device();
    expect([here.state, watching()]).toEqual(['off', 0]);
    here.show();
    here.show();
    expect([here.state, watching()]).toEqual(['asking', 1]);
    find();
    expect(here.fix).toEqual({ latitude_deg: 38.25, longitude_deg: -117.35, accuracy_m: 8, at_ms: 1234 });
    expect(here.state).toBe('known');
    here.hide();
    expect([here.state, here.fix, watching()]).toEqual(['off', null, 0]);
  });

  it('says why it is not known', () => {
    const insecure = device(false);
    insecure.here.show();
    expect([insecure.here.state, insecure.watching()]).toEqual(['insecure', 0]);
    const refused = device();
    refused.here.show();
    refused.fail(1);
    expect([refused.here.state, refused.watching()]).toEqual(['refused', 0]);
    const nowhere = device();
    nowhere.here.show();
    nowhere.fail(2);
    expect(nowhere.here.state).toBe('unknown');
    nowhere.find();
    expect(nowhere.here.state).toBe('known');
    nowhere.fail(3);
    expect(nowhere.here.fix, 'the last place stays, and its age tells').not.toBeNull();
  });
});
