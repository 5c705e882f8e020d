/** How many runs of plates fit into a bound on memory. Expected figures are reckoned by hand beside each check. */
import { describe, expect, it } from 'vitest';
import { jointMemoryMb, runMemoryMb, threadsWithin } from '../../../pipeline/stages/plate/plate-memory.ts';
import type { PlateTask } from '../../../pipeline/stages/plate/plate-task.ts';

const slice = { pixels: 4e6, bytesPerVoxel: 2, count: 256 };

/** An upright scan, or one that a plate crosses: slices per plate follow from the last row of the map. */
const task = (slicesAlongX: number, portraits: number): PlateTask =>
  ({
    grid: { origin_um: [0, 1999], pixel_um: 1, width_px: 2000, height_px: 2000 },
    dieToVoxel: [
      [1, 0, 0, 0],
      [0, -1, 0, 1999],
      [slicesAlongX / 1999, 0, 1, 0],
    ],
    warp: null,
    zUm: [100.5],
    portraits: Array.from({ length: portraits }, (_, n) => ({ name: `metal${n}`, first: 0, last: 9 })),
  }) as unknown as PlateTask;

describe('memory of a run', () => {
  it('is that of its window of slices and of its plates, whatever the depth', () => {
    // Cubic convolution takes four slices; one more is read while they are held: 5 x 4e6 x 2 bytes = 40 MB.
    // A plate: 4e6 pixels of 18 bytes = 72 MB. The thread itself: 40 MB.
    expect(runMemoryMb(task(0, 0), slice)).toBeCloseTo(40 + 72 + 40, 6);
    expect(runMemoryMb(task(0, 0), { ...slice, count: 100_000 })).toBeCloseTo(40 + 72 + 40, 6);
    // 50 slices more where the plate crosses them, and 48 MB for the sums of a portrait.
    expect(runMemoryMb(task(50, 1), slice)).toBeCloseTo(40 + 400 + 72 + 48 + 40, 6);
  });

  it('decides how many go side by side, and a bound too small for one is the user to know', () => {
    const tasks = [task(50, 1)];
    // 600 MB each; in common 350 MB, and for eleven layers 4e6 x (4 x 11 + 24) bytes = 272 MB.
    expect(jointMemoryMb(tasks[0]!, 11)).toBeCloseTo(622, 6);
    expect(threadsWithin(tasks, 11, slice, 8, 2500, true)).toBe(3);
    expect(threadsWithin(tasks, 11, slice, 2, 2500, true)).toBe(2);
    expect(() => threadsWithin(tasks, 11, slice, 2, 1000, true)).toThrow(/at least 1222 MB/);
    expect(threadsWithin(tasks, 11, slice, 2, 1000, false)).toBe(1);
  });
});
