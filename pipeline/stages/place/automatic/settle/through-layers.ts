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
  /** By how much the layers want the lean to differ from the one at which the axes stand at right angles; 0 where these are doubted. */
  readonly tilted: readonly [number, number];
}

/** Weight of the expected misalignment against what the layers show, as a number of offsets. */
const EXPECTED_COUNT = 4;
/** The axes of a reconstructed volume are at right angles to within this, radians. */
const SQUARE = 5e-4;
/** Least precision of a lean that follows from a tilt of which nothing is known, radians. */
const LOOSE = 0.05;
/**
 * Right angles are doubted where they leave layers this many times farther off than expected, and an inclined axis
 * leaves them less than half as far.
 */
const IMPLAUSIBLE = 3;
/** Fewer layers than this lie on an inclined line by chance. */
const LEAST_LEANING = 6;
const ROUNDS = 30;
/** Degrees of freedom of Student's distribution for offsets: a layer that shows something else must not decide. */
const TAILS = 4;

/**
 * Weighted mean and slope with a variance between layers besides each layer's own, found by moments.
 * @source DerSimonian and Laird, Controlled Clinical Trials 7, 177 (1986): random effects; Lange, Little and Taylor, Journal of
 * the American Statistical Association 84, 881 (1989): Student's weights.
 * @param middleUm height at which the place is wanted
 * @param square lean at which the scan's axes stand at right angles, x and y
 * @param squareSd standard deviation of that lean: of the tilt that it follows from
 * @param expectedUm misalignment of a layer that is expected before anything is seen, one standard deviation
 */
export function throughLayers(
  layers: readonly LayerOffset[],
  middleUm: number,
  square: readonly [number, number],
  squareSd: readonly [number, number],
  expectedUm: number,
): ThroughLayers {
  const prior = squareSd.map((sd) => Math.min(LOOSE, Math.hypot(SQUARE, sd))) as [number, number];
  const squared = solve(layers, middleUm, square, expectedUm, prior);
  if (squared.layerUm < IMPLAUSIBLE * expectedUm || layers.length < LEAST_LEANING) return squared;
  const free = solve(layers, middleUm, square, expectedUm, [1, 1]);
  return free.layerUm < squared.layerUm / 2 ? { ...free, tilted: [0, 0] } : squared;
}

function solve(
  layers: readonly LayerOffset[],
  middleUm: number,
  square: readonly [number, number],
  expectedUm: number,
  leanPrior: readonly [number, number],
): ThroughLayers {
  let between = expectedUm ** 2;
  // Along each axis by itself: wires have edges one way, and their few ends say something else than their sides.
  let counts = [0, 1].map(() => layers.map(() => 1));
  const fitBoth = (): [Line, Line] => [
    line(layers, 0, middleUm, square, between, leanPrior[0], counts[0]!),
    line(layers, 1, middleUm, square, between, leanPrior[1], counts[1]!),
  ];
  let axes = fitBoth();
  for (let round = 0; round < ROUNDS; round++) {
    let squares = EXPECTED_COUNT * expectedUm ** 2;
    let count = EXPECTED_COUNT;
    counts = axes.map(({ place, lean }, axis) =>
      layers.map((layer, n) => {
        const variance = layer.variance[axis]!;
        const rest = layer.offsetUm[axis]! - place - lean * (layer.zUm - middleUm);
        // A layer that is badly known says little of how far layers lie off.
        const share = between / (between + variance);
        const freed = layers.length / Math.max(1, layers.length - 1);
        squares += counts[axis]![n]! * share * Math.max(0, rest * rest - variance) * freed;
        count += counts[axis]![n]! * share;
        return (TAILS + 1) / (TAILS + (rest * rest) / (variance + between));
      }),
    );
    between = squares / count;
    axes = fitBoth();
  }
  const [x, y] = axes;
  return {
    placeUm: [x.place, y.place],
    lean: [x.lean, y.lean],
    sdUm: [x.placeSd, y.placeSd],
    layerUm: Math.sqrt(between),
    tilted: [x.lean - square[0], y.lean - square[1]],
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
    // Student's weights count for less than their sum: (tails + 3) / (tails + 1) in one dimension.
    placeSd: Math.sqrt(((TAILS + 3) / (TAILS + 1)) * (wzz / determinant)),
  };
}
