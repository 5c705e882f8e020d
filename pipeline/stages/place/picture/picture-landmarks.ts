/** A flat picture placed by hand: landmarks in its one plane. */
import type { Affine2 } from '../../../../shared/affine.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import { normalEquations, solveNormal } from '../../../kernels/least-squares.ts';
import { percentile } from '../../../kernels/statistics.ts';
import { readLandmarks } from '../landmarks.ts';
import type { LandmarkFile } from '../place-scan.ts';
import { placed } from './place-picture.ts';

/** Median miss, in pixels, beyond which landmarks do not describe one place. */
const RESIDUAL_LIMIT_PX = 3;

/**
 * Two scales, a turn and a shear are fitted where five points or more are given, one scale and a turn from fewer. k and
 * z_um are read and not used, but for the height at which the picture is shown: the mean of z_um.
 * @throws InputFault for a file that is no list of landmarks
 */
export function placePictureByLandmarks(
  file: LandmarkFile,
  pixelUm: number,
  seenFrom: 'auto' | 'front' | 'back',
  base: Placement,
): Placement {
  const points = readLandmarks(file.text, file.name);
  const zUm = points.reduce((sum, p) => sum + p.dieUm[2], 0) / points.length;
  const pairs = points.map((p) => [p.voxel[0], p.voxel[1], p.dieUm[0], p.dieUm[1]] as const);
  const maps = points.length >= 5 ? [affine(pairs)] : similar(pairs, seenFrom);
  const fits = maps
    .map((map) => ({ map, misses: missesOf(pairs, map) }))
    .sort((p, q) => percentile(p.misses, 0.5) - percentile(q.misses, 0.5));
  const { map, misses } = fits[0]!;
  const half = percentile(misses, 0.5);
  const freedom = 2 * points.length - (points.length >= 5 ? 6 : 4);
  const sigma = Math.sqrt(misses.reduce((sum, v) => sum + v * v, 0) / Math.max(1, freedom));
  const scattered = half > RESIDUAL_LIMIT_PX * pixelUm;
  const u = freedom > 0 ? Math.max(sigma, 0.1 * pixelUm) / Math.sqrt(points.length) : null;
  return {
    ...base,
    ...placed(map, pixelUm, zUm),
    source: 'landmarks',
    verdict: scattered ? 'ambiguous' : 'locked',
    residual_um: { median: half, p95: percentile(misses, 0.95), count: misses.length },
    uncertainty_um: u === null ? null : { x: u, y: u, z: 0 },
    method: `${points.length} landmarks set by hand, fitted with ${points.length >= 5 ? 6 : 4} parameters.`,
    doubts: scattered
      ? [
          `The landmarks miss their places by ${half.toFixed(3)} µm in the median, more than ${RESIDUAL_LIMIT_PX} pixels: they do not agree on one place.`,
        ]
      : [],
  };
}

type Pair = readonly [i: number, j: number, xUm: number, yUm: number];

function affine(pairs: readonly Pair[]): Affine2 {
  const columns = [pairs.map((p) => p[0]), pairs.map((p) => p[1]), pairs.map(() => 1)];
  const side = (axis: 2 | 3): Float64Array =>
    solveNormal(
      normalEquations(
        columns,
        pairs.map((p) => p[axis]),
      ),
      [0, 0, 0],
    ).values;
  const [x, y] = [side(2), side(3)];
  return [x[0]!, x[1]!, x[2]!, y[0]!, y[1]!, y[2]!];
}

/** One scale and one turn, as seen from the front (rows run down the die's Y) and mirrored. */
function similar(pairs: readonly Pair[], seenFrom: 'auto' | 'front' | 'back'): Affine2[] {
  const sides = seenFrom === 'auto' ? (['front', 'back'] as const) : [seenFrom];
  return sides.map((side) => {
    const flip = side === 'front' ? -1 : 1;
    // x = p i - flip q j + tx, y = q i + flip p j + ty
    const columns = [
      [...pairs.map((p) => p[0]), ...pairs.map((p) => flip * p[1])],
      [...pairs.map((p) => -flip * p[1]), ...pairs.map((p) => p[0])],
      [...pairs.map(() => 1), ...pairs.map(() => 0)],
      [...pairs.map(() => 0), ...pairs.map(() => 1)],
    ];
    const target = [...pairs.map((p) => p[2]), ...pairs.map((p) => p[3])];
    const [p, q, tx, ty] = solveNormal(normalEquations(columns, target), [0, 0, 0, 0]).values;
    return [p!, -flip * q!, tx!, q!, flip * p!, ty!];
  });
}

const missesOf = (pairs: readonly Pair[], [a, b, tx, c, d, ty]: Affine2): Float64Array =>
  Float64Array.from(pairs, ([i, j, x, y]) =>
    Math.hypot(a * i + b * j + tx - x, c * i + d * j + ty - y),
  ).sort();
