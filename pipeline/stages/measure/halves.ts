/** Fourier ring correlation of the lower against the upper part of a layer. */
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { crossing, halfBit, ONE_SEVENTH } from '../../../shared/resolution-thresholds.ts';
import { addRings, emptyRings, independentShare, ringCorrelation } from '../../kernels/ring-correlation.ts';
import type { ScanBlock } from './scan-block.ts';

type RingCorrelation = NonNullable<Measurements['ring_correlation']>;

/** Plates left out between the two parts, so that noise that the reconstruction smeared along the depth is in one only. */
const GAP = 3;
const LEAST_PLATES = 2;
const LARGEST = 512;
const SMALLEST = 64;
const MOST_WINDOWS = 9;

export interface Halves {
  readonly curve: RingCorrelation;
  /** Half period at the crossing, micrometres; null where the curve stays above to the last ring. */
  readonly halfBitUm: number | null;
  readonly seventhUm: number | null;
  readonly nyquistUm: number;
}

/**
 * Odd and even plates would share noise that the transfer of the reconstruction smears over neighbours; a lower and an
 * upper part with a gap between them do not, and a layer's shapes run straight up through both.
 * @returns null where the layer has too few plates, or no square without gaps in the data
 */
export function compareHalves(layer: string, block: ScanBlock, first: number, last: number): Halves | null {
  const count = last - first + 1;
  const part = Math.floor((count - GAP) / 2);
  if (part < LEAST_PLATES) return null;
  const lower = meanOf(block.plates.slice(first, first + part));
  const upper = meanOf(block.plates.slice(last - part + 1, last + 1));
  const { width_px: width, height_px: height, pixel_um } = block.grid;
  for (let size = LARGEST; size >= SMALLEST; size /= 2) {
    const sums = emptyRings(size);
    let windows = 0;
    for (const [c, r] of corners(width, height, size)) {
      const a = cut(lower, width, c, r, size);
      const b = a && cut(upper, width, c, r, size);
      if (!a || !b) continue;
      addRings(sums, a, b);
      if (++windows >= MOST_WINDOWS) break;
    }
    if (windows === 0) continue;
    const correlation = ringCorrelation(sums);
    const share = independentShare(size);
    const per_um = correlation.map((_, n) => (n + 1) / (size * pixel_um));
    const pixels = correlation.map((_, n) => Math.max(1, sums.samples[n + 1]! * share));
    const half_bit = pixels.map(halfBit);
    const halfPeriod = (f: number | null) => (f === null ? null : 1 / (2 * f));
    return {
      curve: {
        layer,
        halves:
          `The lowest ${part} plates of ${layer} against its highest ${part}, ${count - 2 * part} plates between them left out; ` +
          `${windows} windows of ${size} px. Both halves come from one reconstruction: noise and artefacts that it wrote into ` +
          'both make the curve too good, which the gap lessens and cannot rule out. Not corrected to the full data.',
        ...{ per_um, correlation, pixels, half_bit },
      },
      halfBitUm: halfPeriod(crossing(per_um, correlation, half_bit)),
      seventhUm: halfPeriod(
        crossing(
          per_um,
          correlation,
          per_um.map(() => ONE_SEVENTH),
        ),
      ),
      nyquistUm: pixel_um,
    };
  }
  return null;
}

function* corners(width: number, height: number, size: number): Generator<[number, number]> {
  const starts = (extent: number): number[] => {
    const n = Math.floor(extent / size);
    return Array.from({ length: n }, (_, i) => Math.floor((extent - n * size) / 2) + i * size);
  };
  for (const r of starts(height)) for (const c of starts(width)) yield [c, r];
}

function meanOf(plates: readonly Float32Array[]): Float32Array {
  const sum = new Float32Array(plates[0]!.length);
  for (const plate of plates) for (let n = 0; n < sum.length; n++) sum[n]! += plate[n]! / plates.length;
  return sum;
}

/** A square of an image, or null where it holds a pixel without data. */
function cut(image: Float32Array, width: number, c: number, r: number, size: number): Float64Array | null {
  const out = new Float64Array(size * size);
  for (let y = 0; y < size; y++)
    for (let x = 0; x < size; x++) {
      const value = image[(r + y) * width + c + x]!;
      if (Number.isNaN(value)) return null;
      out[y * size + x] = value;
    }
  return out;
}
