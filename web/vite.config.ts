import { createHash } from 'node:crypto';
import { readdirSync } from 'node:fs';
import { svelte } from '@sveltejs/vite-plugin-svelte';
import type { Plugin } from 'vite';
import { defineConfig } from 'vitest/config';

// While pages are written, `npm run dev` takes everything under /api from a running station (or the fake one).
const station = process.env['LOFTWATCH_STATION'] ?? 'http://127.0.0.1:8790';
const proxy = { '/api': { target: station, ws: true, changeOrigin: true, rewriteWsOrigin: true } };

/** Tells the service worker which files make the shell: all that a first page needs, and nothing that is asked for later. */
const shell: Plugin = {
  name: 'shell',
  apply: 'build',
  enforce: 'post',
  generateBundle(_, bundle) {
    const chunks = Object.values(bundle).filter((f) => f.type === 'chunk');
    const later = new Set(chunks.flatMap((chunk) => chunk.dynamicImports));
    for (const chunk of chunks.filter(({ fileName }) => later.has(fileName)))
      for (const file of [
        ...(chunk.viteMetadata?.importedCss ?? []),
        ...(chunk.viteMetadata?.importedAssets ?? []),
      ])
        later.add(file);
    const files = Object.values(bundle)
      .filter((f) => f.fileName !== 'worker.js' && !later.has(f.fileName))
      .map((f) => (f.fileName === 'index.html' ? '/' : `/${f.fileName}`));
    files.push(...readdirSync('public').map((name) => `/${name}`));
    const worker = bundle['worker.js'];
    if (worker?.type !== 'chunk') return;
    const edition = createHash('sha256').update(files.sort().join()).digest('hex').slice(0, 12);
    worker.code = worker.code
      .replaceAll('__SHELL__', JSON.stringify(files))
      .replaceAll('__EDITION__', JSON.stringify(edition));
  },
};

export default defineConfig({
  plugins: [svelte(), shell],
  build: {
    target: 'es2022',
    // Fonts and pictures stay files of their own: the page's content policy allows no data: addresses.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    // The map, which is loaded only when it is asked for.
    chunkSizeWarningLimit: 1200,
    rollupOptions: {
      input: { index: 'index.html', worker: 'src/worker/worker.ts' },
      // The browser looks for a changed worker under the same name.
      output: { entryFileNames: ({ name }) => (name === 'worker' ? 'worker.js' : 'assets/[name]-[hash].js') },
    },
  },
  server: { host: '127.0.0.1', proxy },
  preview: { host: '127.0.0.1', proxy },
  test: { include: ['src/**/*.test.ts'], environment: 'node' },
});
