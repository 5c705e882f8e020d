/** Where a picture may lie: eight orientations, several scales, every place of the drawing, by correlation. */
import type { Affine2 } from '../../../../shared/affine.ts';
import { powerOfTwo, SquareFft } from '../../../kernels/fft.ts';
import { blurPlane } from '../../../kernels/gaussian-plane.ts';
import { ORIENTATIONS } from '../automatic/orientation.ts';
import type { GreyPicture } from './grey-picture.ts';
import { onGrid } from './resample-picture.ts';
import type { Visible } from './visible-layers.ts';

export interface PictureHypothesis {
  /** Index into ORIENTATIONS. */
  readonly orientation: number;
  /** Picture pixel to die micrometres. */
  readonly map: Affine2;
  /** Root of the sum of the squares of the layers' correlations. */
  readonly score: number;
}

/** The stated pixel may be wrong by 5 %; steps move the rim of the field by less than a pixel of the search. */
const SCALES = [1, 0.983, 1.017, 0.966, 1.034, 0.949, 1.051];
/** Peaks of each orientation and scale that are kept. */
const KEPT = 6;
/** Peaks this near are one, pixels. */
const APART = 4;
/** Energy of the drawing under the picture counts as at least this share of the usual. */
const LEAST_ENERGY = 0.3;

/**
 * @param nominalUm size of a pixel of the picture as stated
 * @param turn radians, how far the structure in the picture is turned against its rows
 * @returns best first
 */
export async function searchPicture(
  picture: GreyPicture,
  nominalUm: number,
  turn: number,
  visible: Visible,
  pause: () => Promise<void>,
): Promise<PictureHypothesis[]> {
  const { grid, layers } = visible;
  const { width_px: width, height_px: height, pixel_um: pixel, origin_um: origin } = grid;
  const diagonal = Math.ceil((1.06 * nominalUm * Math.hypot(picture.width, picture.height)) / pixel) + 2;
  // The middle of the picture stays in the grid: no more than half of it hangs out.
  const side = powerOfTwo(Math.max(width, height) + (diagonal >> 1) + 2);
  const fft = new SquareFft(side);
  // Two layers in one transform, as real and imaginary part.
  const pairs = Array.from({ length: Math.ceil(layers.length / 2) }, (_, n) => {
    const pair = fft.blank();
    fill(pair.re, layers[2 * n]!.picture, width, height, side);
    const second = layers[2 * n + 1];
    if (second) fill(pair.im, second.picture, width, height, side);
    const squares = fft.blank();
    for (let p = 0; p < pair.re.length; p++) {
      squares.re[p] = pair.re[p]! ** 2;
      squares.im[p] = pair.im[p]! ** 2;
    }
    fft.forward(pair);
    fft.forward(squares);
    return { pair, squares, count: second ? 2 : 1 };
  });
  const blurred = blurPlane(
    picture.values,
    picture.width,
    picture.height,
    Math.max(0, (0.4 * pixel) / nominalUm),
  );
  const soft = { ...picture, values: blurred };
  const found: PictureHypothesis[] = [];
  for (const orientation of ORIENTATIONS.keys()) {
    let energies: Float64Array[] | null = null;
    for (const scale of SCALES) {
      await pause();
      const map = centred(picture, nominalUm * scale, turn, orientation);
      const patch = {
        origin_um: [-(diagonal >> 1) * pixel, (diagonal >> 1) * pixel] as const,
        ...{ pixel_um: pixel, width_px: diagonal, height_px: diagonal },
      };
      const seen = onGrid(soft, map, patch);
      energies ??= energiesOf(fft, seen.weight, diagonal, pairs);
      const spectrum = fft.blank();
      fill(spectrum.re, seen.values, diagonal, diagonal, side);
      const own = seen.values.reduce((sum, v) => sum + v * v, 0);
      fft.forward(spectrum);
      const score = new Float64Array(side * side);
      for (const [n, { pair, count }] of pairs.entries()) {
        const product = correlated(fft, spectrum, pair);
        for (const [k, part] of [product.re, product.im].slice(0, count).entries()) {
          const energy = energies[2 * n + k]!;
          for (let p = 0; p < score.length; p++) score[p] = score[p]! + part[p]! ** 2 / (own * energy[p]!);
        }
      }
      for (const { column, row, value } of peaks(score, side, width, height, diagonal)) {
        const x = origin[0] + (column + (diagonal >> 1)) * pixel;
        const y = origin[1] - (row + (diagonal >> 1)) * pixel;
        const moved: Affine2 = [map[0], map[1], map[2] + x, map[3], map[4], map[5] + y];
        found.push({ orientation, map: moved, score: Math.sqrt(value) });
      }
    }
  }
  return found.sort((p, q) => q.score - p.score);
}

/** The middle of the picture to the origin, its structure upright, then one of the eight orientations. */
function centred(picture: GreyPicture, pixelUm: number, turn: number, orientation: number): Affine2 {
  const [ci, cj] = [(picture.width - 1) / 2, (picture.height - 1) / 2];
  const [cos, sin] = [Math.cos(turn) * pixelUm, Math.sin(turn) * pixelUm];
  // Rows run down: the y axis of the frame points up the picture.
  const level = [cos, sin, sin, -cos] as const;
  const [p, q, r, s] = ORIENTATIONS[orientation]!;
  const [a, b] = [p * level[0] + q * level[2], p * level[1] + q * level[3]];
  const [c, d] = [r * level[0] + s * level[2], r * level[1] + s * level[3]];
  return [a, b, -(a * ci + b * cj), c, d, -(c * ci + d * cj)];
}

function fill(into: Float64Array, from: Float32Array, width: number, height: number, side: number): void {
  for (let row = 0; row < height; row++)
    for (let column = 0; column < width; column++) into[row * side + column] = from[row * width + column]!;
}

type Picture = ReturnType<SquareFft['blank']>;

/** Sum over the patch of patch(x) picture(x + shift), for every shift: the spectrum of the patch is conjugated. */
function correlated(fft: SquareFft, patch: Picture, picture: Picture): Picture {
  const out = fft.blank();
  for (let p = 0; p < out.re.length; p++) {
    const [a, b, c, d] = [patch.re[p]!, -patch.im[p]!, picture.re[p]!, picture.im[p]!];
    out.re[p] = a * c - b * d;
    out.im[p] = a * d + b * c;
  }
  fft.inverse(out);
  return out;
}

function energiesOf(
  fft: SquareFft,
  weight: Float32Array,
  diagonal: number,
  pairs: readonly { readonly squares: Picture; readonly count: number }[],
): Float64Array[] {
  const spectrum = fft.blank();
  fill(spectrum.re, weight, diagonal, diagonal, fft.side);
  fft.forward(spectrum);
  return pairs.flatMap(({ squares, count }) => {
    const { re, im } = correlated(fft, spectrum, squares);
    return [re, im].slice(0, count).map((energy) => {
      const most = energy.reduce((m, v) => Math.max(m, v), 0);
      return energy.map((v) => Math.max(v, LEAST_ENERGY * most));
    });
  });
}

/** Best places, apart from each other; the middle of the picture has to lie in the grid. */
function peaks(
  score: Float64Array,
  side: number,
  width: number,
  height: number,
  diagonal: number,
): { column: number; row: number; value: number }[] {
  const half = diagonal >> 1;
  const at = (column: number, row: number): number =>
    score[((row + side) % side) * side + ((column + side) % side)]!;
  const all: { column: number; row: number; value: number }[] = [];
  for (let row = -half; row < height - half; row++) {
    for (let column = -half; column < width - half; column++) {
      const value = at(column, row);
      if (all.length >= KEPT && value <= all.at(-1)!.value) continue;
      if (at(column - 1, row) > value || at(column + 1, row) > value) continue;
      if (at(column, row - 1) > value || at(column, row + 1) > value) continue;
      const near = all.findIndex((p) => Math.hypot(p.column - column, p.row - row) < APART);
      if (near >= 0 && all[near]!.value >= value) continue;
      if (near >= 0) all.splice(near, 1);
      all.push({ column, row, value });
      all.sort((p, q) => q.value - p.value).splice(KEPT);
    }
  }
  return all;
}
