/**
 * Evidence in terms of metal. If the coverage of a layer changed by D, the image would change by K D, with K the
 * layer's blur. With residual r of inverse covariance W, the log-likelihood ratio of "changed by D" against "as
 * modelled" is  <D, K' W r> - <D, K' W K D> / 2  (the matched filter for coloured noise).
 * @source Kay, Fundamentals of Statistical Signal Processing II: Detection Theory (1998), section 4.4
 *
 * The noise is that of a stationary field times a deviation s that varies from place to place: r / s takes the place of
 * r, and D / s that of D, which is exact where s is even over the reach of the blur and never lets a change count for
 * more than it does. K' W r / s is computed once for the layer (`gain`), 1 / s is `trust`, and K' W K is a small round
 * kernel (`coupling`). Every question about a shape, a via or a gap is then a sum over its pixels.
 */
import { blurPlane } from '../../kernels/gaussian-plane.ts';
import { HighPass } from '../../kernels/high-pass.ts';
import { applyTaps, type InverseCovariance, inverseCovariance } from '../../kernels/interpolation-filter.ts';
import type { Canvas } from './canvas.ts';
import { applyKernel, type BankKernel, SLOW_PX } from './kernel-bank.ts';

/** Half the side of a coupling kernel. */
export const COUPLING_REACH = 10;
/** Neighbourhood of the local noise level. */
const LEVEL_PX = 20;
/** Residuals count with at most this many deviations towards the noise level. */
const LIMIT = 2.5;
/** Nowhere is the noise taken to be less than this share of the layer's. */
const LEAST_LEVEL = 0.6;
const IMPULSE_SIDE = 129;

export interface Evidence {
  /** K' W r / s per pixel of coverage over its s. */
  readonly gain: Float32Array;
  /** (2 COUPLING_REACH + 1) squared. */
  readonly coupling: Float32Array;
  readonly noise: InverseCovariance;
  /** 1 / s: below 1 where the residual is rougher than elsewhere. */
  readonly trust: Float32Array;
}

/** Rasters that evidence is written into. */
export type EvidencePlanes = Pick<Evidence, 'gain' | 'trust'>;

/** @param misfit deviation of the residual over that of the noise; what is far off anyway tells little */
export function layerEvidence(
  residual: Float32Array,
  misfit: Float32Array,
  kernel: BankKernel,
  canvas: Canvas,
  highPass: HighPass,
  random: () => number,
  { gain, trust }: EvidencePlanes,
): Evidence {
  const { width, height, mask } = canvas;
  for (let n = 0; n < residual.length; n++) residual[n]! /= misfit[n]!;
  const noise = inverseCovariance(residual, mask, width, height, random);
  const innovations = applyTaps(noise, residual, width, height);
  localTrust(innovations, canvas, noise.innovation, trust);
  for (let n = 0; n < innovations.length; n++) {
    const level = Math.sqrt(trust[n]!);
    innovations[n]! *= mask[n] === 0 ? 0 : level;
    trust[n] = level / misfit[n]!;
  }
  applyKernel(kernel, highPass.apply(innovations), width, height, gain);
  return { gain, coupling: definite(couplingKernel(kernel, noise, kernel)), noise, trust };
}

/** Variance of the innovations over the layer's, one over it. Slow, so that the evidence of a place has one trust. */
function localTrust(scaled: Float32Array, canvas: Canvas, innovation: number, trust: Float32Array): void {
  const { width, height, mask } = canvas;
  const squares = new Float32Array(scaled.length);
  // `scaled` is e / variance; its own variance is 1 / variance.
  const unit = innovation * innovation;
  for (let n = 0; n < scaled.length; n++)
    if (mask[n] !== 0) squares[n] = Math.min(scaled[n]! * scaled[n]! * unit, LIMIT * LIMIT);
  const level = blurPlane(squares, width, height, LEVEL_PX);
  const share = blurPlane(Float32Array.from(mask), width, height, LEVEL_PX);
  for (let n = 0; n < trust.length; n++)
    trust[n] = mask[n] !== 0 ? 1 / Math.max(LEAST_LEVEL, level[n]! / share[n]!) : 0;
}

/** K_a' W K_b around its centre: what metal of kernel b means to the evidence for metal of kernel a. */
export function couplingKernel(a: BankKernel, noise: InverseCovariance, b: BankKernel): Float32Array {
  const side = IMPULSE_SIDE;
  const centre = (side - 1) / 2;
  const impulse = new Float32Array(side * side);
  impulse[centre * side + centre] = 1;
  const everywhere = new Uint8Array(side * side).fill(1);
  const highPass = new HighPass(everywhere, side, side, SLOW_PX);
  const seen = highPass.apply(applyKernel(b, impulse, side, side));
  const weighed = highPass.apply(applyTaps(noise, seen, side, side));
  const back = applyKernel(a, weighed, side, side);
  const reach = COUPLING_REACH;
  const out = new Float32Array((2 * reach + 1) ** 2);
  const at = (dx: number, dy: number): number => back[(centre + dy) * side + centre + dx]!;
  for (let dy = -reach; dy <= reach; dy++)
    for (let dx = -reach; dx <= reach; dx++) {
      // All kernels are round; what the coarse rasters of wide blurs made of that is evened out, because sums over
      // pairs of pixels rely on it.
      const [p, q] = [Math.abs(dx), Math.abs(dy)];
      const around =
        at(p, q) + at(-p, q) + at(p, -q) + at(-p, -q) + at(q, p) + at(-q, p) + at(q, -p) + at(-q, -p);
      out[(dy + reach) * (2 * reach + 1) + dx + reach] = around / 8;
    }
  return out;
}

/** Power that a coupling has at least at every frequency, as a share of its mean. */
const LEAST_SHARE = 0.03;

/** Makes up for what was cut off at the reach of a kernel: no change of metal may count for nothing, or for less. */
function definite(coupling: Float32Array): Float32Array {
  const reach = COUPLING_REACH;
  const side = 2 * reach + 1;
  const centre = reach * side + reach;
  const steps = 28;
  const cosines = Array.from({ length: steps + 1 }, (_, u) =>
    Float64Array.from({ length: side }, (_, d) => Math.cos((Math.PI * u * (d - reach)) / steps)),
  );
  let least = Infinity;
  const lines = cosines.map((cx) => {
    const line = new Float64Array(side);
    for (let y = 0; y < side; y++)
      for (let x = 0; x < side; x++) line[y]! += cx[x]! * coupling[y * side + x]!;
    return line;
  });
  for (const cy of cosines)
    for (const line of lines) {
      let sum = 0;
      for (let y = 0; y < side; y++) sum += cy[y]! * line[y]!;
      least = Math.min(least, sum);
    }
  const lift = LEAST_SHARE * coupling[centre]! - least;
  if (lift > 0) coupling[centre]! += lift;
  return coupling;
}
