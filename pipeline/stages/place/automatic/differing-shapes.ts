/**
 * Shapes that are drawn at one of two places only: whether each shows in the scan. Brightness alone does not tell, for squares that
 * the fab put where nothing is drawn fill half of a shape; they are not shaped like it.
 */
import { labelComponents } from '../../../kernels/components.ts';
import { blurPlane } from '../../../kernels/gaussian-plane.ts';
import type { DieView } from './die-view.ts';
import { BLUR_PX, type SceneLayer } from './scene.ts';

/** Blurred difference of a shape that is there at one place only; edges of shapes that lie a little off stay below. */
const DIFFERS = 0.4;
/** A shape reaches as far as the blurred difference does not fall below this. */
const BELONGS = 0.15;
/** Standard deviation from which on a shape says too little: there or not there are 1 apart. */
const UNSURE = 0.2;
/** Noise of neighbouring pixels goes together: standard deviations are larger by this factor. */
const TOGETHER = 2;
/**
 * A shape is there where what shows is bright enough and shaped like it; it is not where either fails clearly, or both do. Of
 * 15,000 shapes of 16 simulated scans that are there 97 in 100 are told to be and 1 in 100 not to be; of as many that are not
 * 2 in 1,000 are told to be.
 */
const THERE = { alike: 0.6, share: 0.4 } as const;
const ABSENT = { alike: 0.35, share: 0.2, both: 0.6 } as const;
/** So far around a shape nothing of it is left in a blurred drawing; what the fab added to fill gaps keeps farther away. */
const AROUND_PX = 4;

/** A shape that is drawn at one of two places only. */
export interface Differing {
  /** Whether it is drawn at the own place. */
  readonly own: boolean;
  readonly pixels: number;
  /** How much of it shows, 1 where all of it does, and one standard deviation. */
  readonly share: number;
  readonly sd: number;
  /** Correlation of what shows with the shape, in the shape and a little around it. */
  readonly alike: number;
}

/** Every shape that differs, and how the scan shows it. */
export function differing(
  { coverage, expected, shown, scatter }: SceneLayer,
  other: Float32Array,
  otherExpected: Float32Array,
  view: DieView,
): Differing[] {
  const { width, height } = view.grid.frame;
  const difference = blurPlane(
    coverage.map((v, p) => v - other[p]!),
    width,
    height,
    BLUR_PX,
  );
  return [1, -1].flatMap((sign) => {
    const mask = difference.map((d, p) => (view.weight[p]! > 0 && sign * d >= BELONGS ? 1 : 0));
    const { labels, count } = labelComponents(mask, width, height, 4);
    const most = new Float64Array(count + 1);
    const pixels = new Float64Array(count + 1);
    const sums = Array.from({ length: count + 1 }, () => new Float64Array(6));
    const [product, power] = [new Float64Array(count + 1), new Float64Array(count + 1)];
    const without = sign === 1 ? otherExpected : expected;
    const around = spread(labels, width, height, AROUND_PX);
    for (let p = 0; p < labels.length; p++) {
      const n = around[p]!;
      if (n === 0 || view.weight[p] === 0) continue;
      const x = sign * (expected[p]! - otherExpected[p]!);
      const y = shown[p]! - without[p]!;
      if (labels[p] === n) {
        most[n] = Math.max(most[n]!, sign * difference[p]!);
        pixels[n] = pixels[n]! + 1;
        product[n] = product[n]! + x * y;
        power[n] = power[n]! + x * x;
      }
      const s = sums[n]!;
      for (const [m, term] of [1, x, y, x * x, x * y, y * y].entries()) s[m] = s[m]! + term;
    }
    return Array.from({ length: count }, (_, m) => m + 1)
      .filter((n) => most[n]! >= DIFFERS)
      .map((n) => ({
        ...{ own: sign === 1, pixels: pixels[n]!, share: product[n]! / power[n]! },
        sd: (TOGETHER * scatter) / Math.sqrt(power[n]!),
        alike: correlationOf(sums[n]!),
      }));
  });
}

/** @param sums of 1, x, y, x x, x y, y y */
function correlationOf(sums: Float64Array): number {
  const [count, x, y, xx, xy, yy] = sums as unknown as [number, number, number, number, number, number];
  const both = (xx - (x * x) / count) * (yy - (y * y) / count);
  return both > 0 ? (xy - (x * y) / count) / Math.sqrt(both) : 0;
}

/** Labels grown by so many pixels, each over what bears none. */
function spread(labels: ArrayLike<number>, width: number, height: number, by: number): Int32Array {
  let now = Int32Array.from(labels);
  for (let step = 0; step < by; step++) {
    const next = now.slice();
    for (let row = 1; row < height - 1; row++)
      for (let column = 1; column < width - 1; column++) {
        const p = row * width + column;
        if (now[p] === 0) next[p] = now[p - 1]! || now[p + 1]! || now[p - width]! || now[p + width]!;
      }
    now = next;
  }
  return now;
}

/** How many speak for the own place, for the other, and for neither clearly. */
export function votesOf(shapes: readonly Differing[]): { own: number; other: number; open: number } {
  const votes = { own: 0, other: 0, open: 0 };
  for (const { own, share, sd, alike } of shapes) {
    if (sd > UNSURE) continue;
    const absent =
      alike < ABSENT.alike || share < ABSENT.share || (alike < ABSENT.both && share < ABSENT.both);
    if (alike > THERE.alike && share > THERE.share) votes[own ? 'own' : 'other']++;
    else if (absent) votes[own ? 'other' : 'own']++;
    else votes.open++;
  }
  return votes;
}
