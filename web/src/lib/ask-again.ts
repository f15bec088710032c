// Something is asked of the station now and then, until nobody wants it any more.

/** Asks at once and every so many milliseconds; what comes too late is passed over. Returns what ends it. */
export function askAgain<T>(
  ask: () => Promise<T>,
  everyMs: number,
  found: (answer: T) => void,
  failed: (error: unknown) => void,
): () => void {
  let ended = false;
  const once = (): void => {
    ask().then(
      (answer) => {
        if (!ended) found(answer);
      },
      (error: unknown) => {
        if (!ended) failed(error);
      },
    );
  };
  once();
  const timer = setInterval(once, everyMs);
  return () => {
    ended = true;
    clearInterval(timer);
  };
}
