/** One cheap pass over a volume: grey statistics from a few rows of every slice, and slices that are none. */
import type { VolumeSource } from '../../formats/volume.ts';
import { meanAndDeviation, percentile } from '../../kernels/statistics.ts';
import type { FieldOfView } from './field-of-view.ts';
import { type SliceSamples, wildSlices } from './wild-slices.ts';

export interface GreySample {
  /** Sampled values inside the field of view, ascending. */
  readonly sorted: Float64Array;
  readonly brokenSlices: readonly number[];
  /** Robust extremes of each slice; null for a broken one. */
  readonly sliceWindows: readonly ({ readonly black: number; readonly white: number } | null)[];
}

const BANDS = 5;
const BAND_ROWS = 4;
const SAMPLE_TARGET = 1_000_000;
/** Share of a slice's greys beyond its window, at either end. */
const WINDOW_SHARE = 0.001;
/** A slice whose spread is below this share of the usual one shows nothing. */
const FLAT_SHARE = 0.02;
/** Where more slices than this are flat, the volume is free of noise there, not broken. */
const MOST_BROKEN = 0.2;
/** Places of a slice that are held against those of its neighbours. */
const COMPARED = 4096;

type SliceWindow = { black: number; white: number };

export async function sampleGreys(
  source: VolumeSource,
  field: FieldOfView,
  onSlice: () => void,
  signal?: AbortSignal,
): Promise<GreySample> {
  const { nz, nx } = source.shape;
  const [, j0, , j1] = field.box;
  const rows = Math.max(1, Math.min(BAND_ROWS, j1 - j0));
  const stride = Math.max(1, Math.floor((nz * BANDS * rows * nx) / SAMPLE_TARGET));
  const kept: number[] = [];
  const deviations = new Float64Array(nz);
  const empty = new Set<number>();
  const windows: (SliceWindow | null)[] = [];
  const samples: (Float32Array | null)[] = [];
  const every = Math.max(1, Math.floor((BANDS * rows * nx * (1 - field.outside)) / COMPARED));
  for (let k = 0; k < nz; k++) {
    const inField: number[] = [];
    const places: number[] = [];
    let place = 0;
    for (let band = 0; band < BANDS; band++) {
      const start = j0 + Math.floor(((j1 - j0 - rows) * band) / (BANDS - 1));
      const values = await source.read({ k: [k, k + 1], j: [start, start + rows] }, signal);
      for (let n = 0; n < values.length; n++) {
        const value = values[n]!;
        if (field.mask && !field.mask[start * nx + n]) continue;
        if (place++ % every === 0) places.push(value);
        if (Number.isFinite(value)) inField.push(value);
      }
    }
    if (inField.length === 0) {
      empty.add(k);
      windows.push(null);
      samples.push(null);
    } else {
      deviations[k] = meanAndDeviation(inField).deviation;
      windows.push(extremes(inField));
      samples.push(Float32Array.from(places));
    }
    for (let n = k % stride; n < inField.length; n += stride) kept.push(inField[n]!);
    onSlice();
  }
  const brokenSlices = findBroken(deviations, empty, samples);
  for (const k of brokenSlices) windows[k] = null;
  return { sorted: Float64Array.from(kept).sort(), brokenSlices, sliceWindows: windows };
}

function findBroken(deviations: Float64Array, empty: ReadonlySet<number>, samples: SliceSamples): number[] {
  const alive = deviations.filter((deviation) => deviation > 0).sort();
  const least = alive.length > 0 ? FLAT_SHARE * percentile(alive, 0.5) : 0;
  const flat = [...deviations.keys()].filter((k) => !empty.has(k) && deviations[k]! <= least);
  const broken = new Set(flat.length <= MOST_BROKEN * deviations.length ? flat : []);
  const wild = wildSlices(samples.map((sample, k) => (broken.has(k) ? null : sample)));
  if (broken.size + wild.length <= MOST_BROKEN * deviations.length) for (const k of wild) broken.add(k);
  return [...empty, ...broken].sort((a, b) => a - b);
}

function extremes(values: readonly number[]): SliceWindow {
  const sorted = Float64Array.from(values).sort();
  return { black: percentile(sorted, WINDOW_SHARE), white: percentile(sorted, 1 - WINDOW_SHARE) };
}
