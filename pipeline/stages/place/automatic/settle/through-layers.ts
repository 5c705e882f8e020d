/**
 * The map through the offsets of all layers: its place at the middle height, its lean against height, and how far single
 * layers lie off it.
 */
import type { LayerOffset } from './plane-fit.ts';

export interface ThroughLayers {
  /** Place at the middle height, and lean: micrometres per micrometre of height; x, then y. */
  readonly placeUm: readonly [number, number];
  readonly lean: readonly [number, number];
  /** Standard deviation of the place. */
  readonly sdUm: readonly [number, number];
  /** Standard deviation of one layer's offset from the map. */
  readonly layerUm: number;
}

/** Weight of the expected misalignment against what the layers show, as a number of offsets. */
const EXPECTED_COUNT = 4;
/** The axes of a reconstructed volume are at right angles to within this, radians. */
const SQUARE = 5e-4;
/**
 * Right angles are doubted where they leave layers this many times farther off than expected, and an inclined axis
 * leaves them less than half as far.
 */
const IMPLAUSIBLE = 3;
const ROUNDS = 30;
/** Degrees of freedom of Student's distribution for offsets: a layer that shows something else must not decide. */
const TAILS = 4;

/**
 * Weighted mean and slope with a variance between layers besides each layer's own, found by moments.
 * @source DerSimonian and Laird, Controlled Clinical Trials 7, 177 (1986): random effects; Lange, Little and Taylor, Journal of
 * the American Statistical Association 84, 881 (1989): Student's weights.
 * @param middleUm height at which the place is wanted
 * @param square lean at which the scan's axes stand at right angles, x and y
 * @param expectedUm misalignment of a layer that is expected before anything is seen, one standard deviation
 */
export function throughLayers(
  layers: readonly LayerOffset[],
  middleUm: number,
  square: readonly [number, number],
  expectedUm: number,
): ThroughLayers {
  const squared = solve(layers, middleUm, square, expectedUm, SQUARE);
  if (squared.layerUm < IMPLAUSIBLE * expectedUm) return squared;
  const free = solve(layers, middleUm, square, expectedUm, 1);
  return free.layerUm < squared.layerUm / 2 ? free : squared;
}

function solve(
  layers: readonly LayerOffset[],
  middleUm: number,
  square: readonly [number, number],
  expectedUm: number,
  leanPrior: number,
): ThroughLayers {
  let between = expectedUm ** 2;
  let counts = layers.map(() => 1);
  const fitBoth = (): [Line, Line] => [
    line(layers, 0, middleUm, square, between, leanPrior, counts),
    line(layers, 1, middleUm, square, between, leanPrior, counts),
  ];
  let axes = fitBoth();
  for (let round = 0; round < ROUNDS; round++) {
    let squares = EXPECTED_COUNT * expectedUm ** 2;
    let count = EXPECTED_COUNT;
    counts = layers.map((layer, n) => {
      let [off, shares] = [0, 0];
      axes.forEach(({ place, lean }, axis) => {
        const variance = layer.variance[axis]!;
        const rest = layer.offsetUm[axis]! - place - lean * (layer.zUm - middleUm);
        // A layer that is badly known says little of how far layers lie off.
        const share = between / (between + variance);
        const freed = layers.length / Math.max(1, layers.length - 1);
        squares += counts[n]! * share * Math.max(0, rest * rest - variance) * freed;
        count += counts[n]! * share;
        off += (rest * rest) / (variance + between);
        shares++;
      });
      return (TAILS + shares) / (TAILS + off);
    });
    between = squares / count;
    axes = fitBoth();
  }
  const [x, y] = axes;
  return {
    placeUm: [x.place, y.place],
    lean: [x.lean, y.lean],
    sdUm: [x.placeSd, y.placeSd],
    layerUm: Math.sqrt(between),
  };
}

interface Line {
  readonly place: number;
  readonly lean: number;
  readonly placeSd: number;
}

function line(
  layers: readonly LayerOffset[],
  axis: 0 | 1,
  middleUm: number,
  square: readonly [number, number],
  between: number,
  leanPrior: number,
  counts: readonly number[],
): Line {
  let [w, wz, wzz, wd, wzd] = [0, 0, 1 / leanPrior ** 2, 0, square[axis] / leanPrior ** 2];
  for (const [n, layer] of layers.entries()) {
    const weight = counts[n]! / (layer.variance[axis] + between);
    const z = layer.zUm - middleUm;
    w += weight;
    wz += weight * z;
    wzz += weight * z * z;
    wd += weight * layer.offsetUm[axis];
    wzd += weight * z * layer.offsetUm[axis];
  }
  const determinant = w * wzz - wz * wz;
  return {
    place: (wzz * wd - wz * wzd) / determinant,
    lean: (w * wzd - wz * wd) / determinant,
    // Student's weights count for less than their sum: (tails + 4) / (tails + 2) in two dimensions.
    placeSd: Math.sqrt(((TAILS + 4) / (TAILS + 2)) * (wzz / determinant)),
  };
}
