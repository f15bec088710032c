// What waits to be said. Each key once, the gravest first (predictions between the warnings), then in the order of their
// moments; what is more than a second late is dropped. Pure: station time is told.
import { RANK, type Call } from './calls';

/** What is later than this is of no use any more, s. */
export const LATE_S = 1;

export class Queue {
  private waiting = new Map<string, Call>();
  /** Said or dropped: never again. */
  private readonly done = new Set<string>();
  /** Whether what was said last was a warning. */
  private warned = false;

  /** Takes the calls of a message. One that waits takes the newest words and moment; one that is gone waits no more. */
  take(calls: readonly Call[], t_s: number): void {
    const next = new Map<string, Call>();
    for (const call of calls) if (!this.done.has(call.key)) next.set(call.key, call);
    // What happened at a moment is not told again by every message: it waits until it is said or late.
    for (const [key, call] of this.waiting) if (!next.has(key) && !holds(call)) next.set(key, call);
    this.waiting = next;
    this.drop(t_s);
  }

  /** The call to be said now, if any; it counts as said. */
  next(t_s: number): Call | null {
    this.drop(t_s);
    const due = [...this.waiting.values()].filter((call) => call.due_s <= t_s);
    due.sort((a, b) => a.rank - b.rank || a.due_s - b.due_s);
    // Ten warnings must not keep the apogee from being said: after one of them a prediction has its turn.
    const turn = this.warned ? due.find((call) => call.rank === RANK.prediction) : undefined;
    const first = turn ?? due[0];
    if (!first) return null;
    this.warned = first.rank < RANK.prediction;
    this.waiting.delete(first.key);
    this.done.add(first.key);
    return first;
  }

  private drop(t_s: number): void {
    for (const [key, call] of this.waiting) {
      if (t_s - call.due_s <= LATE_S) continue;
      this.waiting.delete(key);
      this.done.add(key);
    }
  }
}

/** Whether a call is of something that holds on, and is told again by each message as long as it does. */
function holds(call: Call): boolean {
  return call.rank < RANK.rest;
}
