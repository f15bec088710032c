// What a person chose on this device: units and theme. Kept in the browser, used by every page.
import type { Units } from './units';

export type Theme = 'sun' | 'night';

function read(key: string): string | null {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

function write(key: string, value: string): void {
  try {
    localStorage.setItem(key, value);
  } catch {
    // A browser that keeps nothing still shows what was chosen until it is closed.
  }
}

class Settings {
  units = $state<Units>(read('loftwatch.units') === 'imperial' ? 'imperial' : 'metric');
  theme = $state<Theme>(read('loftwatch.theme') === 'night' ? 'night' : 'sun');

  map = $state(read('loftwatch.map') === 'on');

  setMap(map: boolean): void {
    this.map = map;
    write('loftwatch.map', map ? 'on' : 'off');
  }

  setUnits(units: Units): void {
    this.units = units;
    write('loftwatch.units', units);
  }

  setTheme(theme: Theme): void {
    // The page's colours first: who paints by them does so as soon as the theme is another.
    document.documentElement.dataset['theme'] = theme;
    this.theme = theme;
    write('loftwatch.theme', theme);
  }
}

export const settings = new Settings();
