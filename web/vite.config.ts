import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vitest/config';

// While pages are written, `npm run dev` takes everything under /api from a running station (or the fake one).
const station = process.env['LOFTWATCH_STATION'] ?? 'http://127.0.0.1:8790';
const proxy = { '/api': { target: station, ws: true, changeOrigin: true, rewriteWsOrigin: true } };

export default defineConfig({
  plugins: [svelte()],
  // Fonts and pictures stay files of their own: the page's content policy allows no data: addresses.
  build: { target: 'es2022', assetsInlineLimit: 0, modulePreload: { polyfill: false } },
  server: { host: '127.0.0.1', proxy },
  preview: { host: '127.0.0.1', proxy },
  test: { include: ['src/**/*.test.ts'], environment: 'node' },
});
