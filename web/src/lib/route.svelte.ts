// Which page is shown: plain addresses, read from and written to the browser's history.

export type Page =
  | { name: 'watch' }
  | { name: 'flights' }
  | { name: 'radio' }
  | { name: 'prepare' }
  | { name: 'replay'; flight: number }
  | { name: 'device' }
  | { name: 'unknown' };

export function pageOf(path: string): Page {
  if (path === '/' || path === '/watch') return { name: 'watch' };
  if (/^\/flights\/?$/.test(path)) return { name: 'flights' };
  if (/^\/radio\/?$/.test(path)) return { name: 'radio' };
  if (/^\/prepare\/?$/.test(path)) return { name: 'prepare' };
  if (/^\/device\/?$/.test(path)) return { name: 'device' };
  const replay = /^\/flights\/(\d{1,9})\/?$/.exec(path);
  return replay ? { name: 'replay', flight: Number(replay[1]) } : { name: 'unknown' };
}

class Route {
  page = $state.raw<Page>(pageOf(location.pathname));

  /** Follows links within the pages without loading anew; the returned function stops it. */
  follow(): () => void {
    const read = (): void => {
      this.page = pageOf(location.pathname);
    };
    const click = (event: MouseEvent): void => {
      if (
        event.defaultPrevented ||
        event.button !== 0 ||
        event.metaKey ||
        event.ctrlKey ||
        event.shiftKey ||
        event.altKey
      )
        return;
      const link = (event.target as Element | null)?.closest('a');
      if (!link || link.hasAttribute('download') || link.target || link.origin !== location.origin) return;
      if (pageOf(link.pathname).name === 'unknown') return;
      event.preventDefault();
      if (link.pathname !== location.pathname) history.pushState(null, '', link.pathname);
      read();
      scrollTo(0, 0);
    };
    addEventListener('popstate', read);
    document.addEventListener('click', click);
    return () => {
      removeEventListener('popstate', read);
      document.removeEventListener('click', click);
    };
  }
}

export const route = new Route();
