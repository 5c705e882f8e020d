/** The volume that is matched: no grey may depend on what else the same slice happens to cut. */
import { expect, it } from 'vitest';
import type { VolumeSource } from '../../../pipeline/formats/volume.ts';
import { makeWorkVolume } from '../../../pipeline/stages/place/automatic/work-volume.ts';

const [NX, NY, NZ] = [160, 120, 24];
const SLOPE = 0.1;
const FACE = 10;

/**
 * Dense stripes below a plane that rises over the field, a few dots above it: a slice cuts both, in shares that change
 * with its height. The plane rises by more slices than the reach of the shading that is taken off would even out.
 */
function greyAt(i: number, j: number, k: number): number {
  const below = k < FACE + SLOPE * (i - NX / 2);
  const stripe = j % 8 < 4 ? 100 : 0;
  const dot = i % 16 < 3 && j % 16 < 3 ? 100 : 0;
  return 500 + (below ? stripe : dot);
}

const source = {
  shape: { nx: NX, ny: NY, nz: NZ },
  read: async ({ k }: { k: readonly [number, number] }) =>
    Float32Array.from({ length: NX * NY }, (_, n) => greyAt(n % NX, Math.floor(n / NX), k[0])),
} as unknown as VolumeSource;

/** Range of the greys over whole stripes around a column of one slice. */
function contrastAt(voxels: Float32Array, column: number, k: number): number {
  let [low, high] = [Infinity, -Infinity];
  for (let j = 40; j < 80; j++) {
    const value = voxels[(k * NY + j) * NX + column]!;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return high - low;
}

it('shows the same stripes with the same contrast in slices that cut more of something else, and less', async () => {
  const { voxels } = await makeWorkVolume({
    ...{ source, voxelUm: [0.05, 0.05, 0.05], mask: null, brokenSlices: [] },
  });
  // Column 150 lies under the plane up to slice 16: there slice 2 is all stripes, slice 15 nearly all dots.
  const contrasts = [2, 6, 10, 13, 15].map((k) => contrastAt(voxels, 150, k));
  for (const contrast of contrasts) expect(contrast / contrasts[0]!).toBeCloseTo(1, 1);
});
