import { describe, expect, it } from 'vitest';
import { RANK, type Call } from './calls';
import { Queue } from './queue';

const call = (key: string, due_s: number, rank: number = RANK.rest, words = key): Call => ({
  key,
  rank,
  due_s,
  words,
  sound: 'mark',
});
/** All that is said when a voice is free at once. */
function all(queue: Queue, t_s: number): string[] {
  const said: string[] = [];
  for (let next = queue.next(t_s); next; next = queue.next(t_s)) said.push(next.words);
  return said;
}

describe('the queue of call-outs', () => {
  it('says each thing once', () => {
    const queue = new Queue();
    for (let i = 0; i < 5; i += 1) {
      queue.take([call('liftoff', 10)], 10.2);
      expect(all(queue, 10.2)).toEqual(i === 0 ? ['liftoff'] : []);
    }
  });

  it('says heads-ups and predictions first, then the rest in the order of their moments', () => {
    const queue = new Queue();
    queue.take(
      [
        call('apogee', 10),
        call('burnout', 9.5),
        call('prediction', 10, RANK.prediction),
        call('look', 10, RANK.look),
        call('act', 10, RANK.act),
      ],
      10,
    );
    expect(all(queue, 10)).toEqual(['act', 'prediction', 'look', 'burnout', 'apogee']);
  });

  it('never says what is more than a second late, also when the voice was busy', () => {
    const queue = new Queue();
    queue.take([call('liftoff', 10), call('burnout', 11.5)], 10);
    // The voice is busy until 12.
    expect(all(queue, 12)).toEqual(['burnout']);
    queue.take([call('liftoff', 10), call('apogee', 10.9)], 12);
    expect(all(queue, 12)).toEqual([]);
  });

  it('keeps what is to come for its moment, and moves it with the prediction', () => {
    const queue = new Queue();
    queue.take([call('count 3', 17), call('count 2', 18)], 15);
    expect(all(queue, 16.9)).toEqual([]);
    queue.take([call('count 3', 17.4), call('count 2', 18.4)], 17);
    expect(all(queue, 17.2)).toEqual([]);
    expect(all(queue, 17.45)).toEqual(['count 3']);
    expect(all(queue, 18.4)).toEqual(['count 2']);
  });

  it('says a holding thing in its newest words, and not at all once it has gone', () => {
    const queue = new Queue();
    queue.take([call('headsup', 10, RANK.look, 'in 3 s')], 10);
    queue.take([call('headsup', 12, RANK.look, 'in 1 s')], 12);
    expect(all(queue, 12)).toEqual(['in 1 s']);
    queue.take([call('other', 12, RANK.look)], 12);
    queue.take([], 12.1);
    expect(all(queue, 12.1)).toEqual([]);
  });
});
