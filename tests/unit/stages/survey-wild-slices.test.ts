/** Slices that are none: against volumes made up here, whose spoilt slices are known. Seeded. */
import { describe, expect, it } from 'vitest';
import { wildSlices } from '../../../pipeline/stages/survey/wild-slices.ts';
import { generator } from '../../fixtures/random.ts';

const PLACES = 3000;
const SLICES = 60;

/** Layers of a few slices each with a pattern of their own, oxide between some; noise of 1 everywhere. */
function stack(contrast: number, seed: number, thinnest = 3): Float32Array[] {
  const next = generator(seed);
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
  const slices: Float32Array[] = [];
  while (slices.length < SLICES) {
    const bare = next() < 0.25;
    const pattern = Array.from({ length: PLACES }, () => (!bare && next() < 0.4 ? contrast : 0));
    const count = thinnest + Math.floor(8 * next());
    for (let n = 0; n < count; n++) slices.push(Float32Array.from(pattern));
  }
  // A scan is blurred along its depth as well.
  return Array.from({ length: SLICES }, (_, k) =>
    Float32Array.from({ length: PLACES }, (_, n) => {
      const at = (step: number): number => slices[Math.min(SLICES - 1, Math.max(0, k + step))]![n]!;
      return 0.25 * at(-1) + 0.5 * at(0) + 0.25 * at(1) + normal();
    }),
  );
}

const noise = (deviation: number, seed: number): Float32Array => {
  const next = generator(seed);
  return Float32Array.from(
    { length: PLACES },
    () => deviation * Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next()),
  );
};

describe('wild slices', () => {
  it.each([
    [1.5, 1],
    [3, 2],
    [10, 3],
    [40, 4],
  ])('are told from borders of layers at a contrast of %d to the noise', (contrast, seed) => {
    const volume = stack(contrast, seed);
    expect(wildSlices(volume)).toEqual([]);
    volume[9] = noise(Math.max(3, contrast), seed + 50);
    volume[30] = noise(Math.max(3, contrast), seed + 60);
    volume[31] = noise(Math.max(3, contrast), seed + 70);
    volume[59] = noise(Math.max(3, contrast), seed + 80);
    expect(wildSlices(volume)).toEqual([9, 30, 31, 59]);
  });

  it('are slices that come twice, and only the second', () => {
    const volume = stack(4, 5);
    volume[20] = volume[19]!.slice();
    expect(wildSlices(volume)).toEqual([20]);
  });

  it('are none where a slice is only brighter or darker than its neighbours', () => {
    const volume = stack(4, 6);
    volume[25] = volume[25]!.map((value) => value + 100);
    expect(wildSlices(volume)).toEqual([]);
  });

  it('are none in a volume without noise, nor in a short one', () => {
    const volume = stack(4, 7);
    expect(wildSlices(volume.map((slice) => slice.map(Math.round).map((v) => (v > 1 ? 1 : 0))))).toEqual([]);
    expect(wildSlices([...volume.slice(0, 8), noise(30, 1), ...volume.slice(9, 15)])).toEqual([]);
  });

  it.each([8, 9, 10, 11, 12, 13])('are none in layers one slice thin, seed %d', (seed) => {
    expect(wildSlices(stack(6, seed, 1))).toEqual([]);
  });
});
