import { describe, expect, it } from 'vitest';
import { wayOf } from './shell';

const SHELL = ['/', '/loading.css', '/assets/index-a1.js'];
const way = (path: string, mode = 'cors', method = 'GET') =>
  wayOf({ method, mode, url: new URL(path, 'https://pad.local:8080').href }, 'https://pad.local:8080', SHELL);

describe('the service worker', () => {
  it('keeps the shell, and never what happens', () => {
    expect(way('/', 'navigate')).toBe('page');
    expect(way('/flights/3', 'navigate')).toBe('page');
    expect(way('/assets/index-a1.js')).toBe('kept');
    expect(way('/assets/map-b2.js')).toBe('station');
    for (const path of ['/api/now', '/api/flights/current/track', '/api/qr?text=geo:1,2']) {
      expect(way(path), path).toBe('station');
      expect(way(path, 'navigate'), path).toBe('station');
    }
    expect(way('/', 'navigate', 'POST')).toBe('station');
    expect(way('https://elsewhere.example/assets/index-a1.js')).toBe('station');
  });
});
