// The service worker: keeps the shell of the pages, so that they open before the station answers and say that it does not.
/// <reference lib="webworker" />
import { PATIENCE_MS, wayOf } from './shell';

declare const self: ServiceWorkerGlobalScope;
/** Put in by the build: the files of the shell, and a name that changes with them. */
declare const __SHELL__: string[];
declare const __EDITION__: string;

const CACHE = `shell ${__EDITION__}`;

self.addEventListener('install', (event) => {
  event.waitUntil(
    caches
      .open(CACHE)
      .then((cache) => cache.addAll(__SHELL__))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener('activate', (event) => {
  const others = async (): Promise<void> => {
    for (const name of await caches.keys()) if (name !== CACHE) await caches.delete(name);
    await self.clients.claim();
  };
  event.waitUntil(others());
});

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const way = wayOf(request, self.location.origin, __SHELL__);
  if (way === 'page') event.respondWith(page(request));
  if (way === 'kept') event.respondWith(kept(request));
});

async function kept(request: Request): Promise<Response> {
  return (await caches.match(request)) ?? fetch(request);
}

async function page(request: Request): Promise<Response> {
  const shell = async (): Promise<Response> => (await caches.match('/')) ?? Response.error();
  const late = new Promise<null>((done) => setTimeout(() => done(null), PATIENCE_MS));
  try {
    return (await Promise.race([fetch(request), late])) ?? (await shell());
  } catch {
    return shell();
  }
}
