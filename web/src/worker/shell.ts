// Which answers the service worker gives by itself. Pure.

export type Way =
  /** A page: from the station, else the one that was kept. */
  | 'page'
  /** A file whose name holds a hash, or that belongs to the shell: the kept one. */
  | 'kept'
  /** Nothing of ours: the browser asks as it would without a worker. */
  | 'station';

/** How long a page waits for the station before the kept one opens, ms. */
export const PATIENCE_MS = 2000;

export function wayOf(
  request: { method: string; mode: string; url: string },
  origin: string,
  shell: readonly string[],
): Way {
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== origin) return 'station';
  // What happens is never kept: an old flight must not pass for the present one.
  if (url.pathname.startsWith('/api/')) return 'station';
  if (shell.includes(url.pathname) && url.pathname !== '/') return 'kept';
  return request.mode === 'navigate' ? 'page' : 'station';
}
