import { expect, it } from 'vitest';
import { pauseMs } from './backoff';

it('waits little at first, more later, never more than four seconds, and not always the same', () => {
  expect(pauseMs(0, () => 1)).toBe(250);
  expect(pauseMs(2, () => 1)).toBe(1000);
  expect(pauseMs(1000, () => 1)).toBe(4000);
  expect(pauseMs(1000, () => 0)).toBe(2800);
});
