/** Threads: what they answer, and that a fault of the input is still one on this side. */
import { afterAll, expect, it } from 'vitest';
import { openPool } from '../../../pipeline/workers/pool.ts';
import { InputFault } from '../../../shared/errors.ts';

const pool = openPool<number, number>(new URL('../../fixtures/workers/doubling.ts', import.meta.url), 2);
afterAll(() => pool.close());

it('answer, each to its own task', async () => {
  expect(await Promise.all([2, 3, 4, 5].map((n) => pool.run(n)))).toEqual([4, 6, 8, 10]);
});

it('hand over a fault of the input with all it says, and any other error as it is', async () => {
  const fault = await pool.run(0).catch((error) => error);
  expect(fault).toBeInstanceOf(InputFault);
  expect(fault.fields).toEqual({
    tag: 'no-space',
    file: 'a.tif',
    found: 'a full disk',
    remedy: 'Make room.',
  });
  const other = await pool.run(1).catch((error) => error);
  expect(other).not.toBeInstanceOf(InputFault);
  expect(other.message).toBe('one');
});
