// All events of a flight, for the jumps of its replay. A replay's story tells only what has happened up to the instant
// shown, so a second, short-lived replay is sent to the end and asked there.
import type { Ask, EventNow, Message } from '../lib/messages';

/** A station that has not answered by then will not, ms. */
const PATIENCE_MS = 6000;

export function peekEvents(flight: number, end_s: number): Promise<EventNow[]> {
  const scheme = location.protocol === 'https:' ? 'wss:' : 'ws:';
  const socket = new WebSocket(`${scheme}//${location.host}/api/flights/${flight}/socket`);
  let events: EventNow[] = [];
  return new Promise((resolve) => {
    let settle: ReturnType<typeof setTimeout> | undefined;
    const finish = (): void => {
      clearTimeout(settle);
      clearTimeout(patience);
      socket.close();
      resolve(events);
    };
    const patience = setTimeout(finish, PATIENCE_MS);
    socket.onopen = () => {
      const ask: Ask = { kind: 'seek', t_s: end_s };
      socket.send(JSON.stringify(ask));
    };
    socket.onmessage = (event) => {
      const message = JSON.parse(event.data as string) as Message;
      if (message.kind !== 'story' || message.events.length <= events.length) return;
      events = message.events;
      // The end's own story is complete; a moment later nothing more will come.
      clearTimeout(settle);
      settle = setTimeout(finish, 700);
    };
    socket.onerror = finish;
  });
}
