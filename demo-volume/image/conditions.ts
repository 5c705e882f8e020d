/** What can go wrong with a scan besides noise: greys upside down, broken slices, bends, padding. All from the seed. */
import { randomStream } from '../random.ts';
import { type Distortion, drawDistortion } from './distortion.ts';

export type BrokenKind = 'blank' | 'noise' | 'streaks';
export type Outside = 'zero' | 'constant' | 'nan';

/** What a person may ask for. */
export interface ConditionOptions {
  /** Whether dense materials come out bright, or light ones. */
  readonly bright: 'dense' | 'light';
  /** Share of the slices that are spoilt. */
  readonly brokenShare: number;
  readonly jitterVoxels: number;
  readonly warpVoxels: number;
  readonly bowUm: number;
  /** Standard deviation of a layer's thickness as a share of it, cut at two of them; null: evenly within 8 %. */
  readonly thicknessSd: number | null;
  /** Slow drift of grey over the field as a share of the contrast of the metal; the gain drifts with it. */
  readonly drift: number;
  /** What the files hold outside a circular field. */
  readonly outside: Outside;
}

export const USUAL: ConditionOptions = {
  bright: 'dense',
  brokenShare: 0,
  jitterVoxels: 0,
  warpVoxels: 0,
  bowUm: 0,
  thicknessSd: null,
  drift: 0.18,
  outside: 'zero',
};

/** What became of it for one scan. */
export interface Conditions {
  readonly outside: Outside;
  readonly broken: readonly { readonly slice: number; readonly kind: BrokenKind }[];
  readonly bend: Distortion | null;
}

export const NO_CONDITIONS: Conditions = { outside: 'zero', broken: [], bend: null };

const KINDS: readonly BrokenKind[] = ['blank', 'noise', 'streaks'];

export function drawConditions(
  options: ConditionOptions,
  shape: readonly [number, number, number],
  seed: number,
): Conditions {
  const random = randomStream(seed, 'broken slices');
  const count = Math.round(options.brokenShare * shape[2]);
  const slices = random.shuffle(Array.from({ length: shape[2] }, (_, k) => k)).slice(0, count);
  return {
    outside: options.outside,
    broken: slices.sort((a, b) => a - b).map((slice) => ({ slice, kind: random.pick(KINDS) })),
    bend: drawDistortion(options, shape, randomStream(seed, 'bend')),
  };
}

/** Standard deviation of the noise of a spoilt slice where the scan has none, as a share of the strongest contrast. */
const LEAST_NOISE = 0.02;
const STREAKS = 40;
const STREAK_VOXELS = 1.5;

/** What a spoilt slice holds instead of the chip, e/A^3 over nx by ny pixels. */
export function spoiltSlice(
  kind: BrokenKind,
  size: readonly [number, number],
  noiseSd: number,
  strongest: number,
  seed: number,
  slice: number,
): Float64Array {
  const [nx, ny] = size;
  const out = new Float64Array(nx * ny);
  if (kind === 'blank') return out;
  const random = randomStream(seed, `spoilt slice ${slice}`);
  const sd = Math.max(noiseSd, LEAST_NOISE * strongest);
  for (let n = 0; n < out.length; n++) out[n] = sd * random.normal();
  if (kind === 'noise') return out;
  for (let s = 0; s < STREAKS; s++) {
    const angle = random.between(0, Math.PI);
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const offset = random.between(-0.5, 0.5) * Math.hypot(nx, ny);
    const height = 2 * strongest * random.normal();
    for (let j = 0; j < ny; j++)
      for (let i = 0; i < nx; i++) {
        const d = (cos * (i - nx / 2) + sin * (j - ny / 2) - offset) / STREAK_VOXELS;
        if (Math.abs(d) < 4) out[j * nx + i] = (out[j * nx + i] as number) + height * Math.exp((-d * d) / 2);
      }
  }
  return out;
}
