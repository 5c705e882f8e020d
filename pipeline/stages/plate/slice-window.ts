/** A moving window of slices: what the plates at one height need, and nothing else, is held. */
import type { VolumeSource, VoxelArray } from '../../formats/volume.ts';
import type { CubicSums, HeldSlice } from '../../kernels/cubic-sums.ts';

export class SliceWindow {
  readonly #source: VolumeSource;
  readonly #broken: ReadonlySet<number>;
  readonly #held = new Map<number, VoxelArray>();
  readonly #sums: CubicSums | null;

  /** @param sums whose memory holds the slices; without it they are held as they were read */
  constructor(source: VolumeSource, brokenSlices: readonly number[], sums: CubicSums | null = null) {
    this.#source = source;
    this.#sums = sums;
    this.#broken = new Set(brokenSlices);
  }

  /** Loads the half-open range of slices and lets go of all others. */
  async moveTo(first: number, end: number): Promise<void> {
    for (const [k, slice] of this.#held) {
      if (k >= first && k < end) continue;
      this.#held.delete(k);
      this.#sums?.release(slice as HeldSlice);
    }
    for (let k = first; k < end; k++) {
      if (this.#held.has(k)) continue;
      const slice = await this.#load(k);
      this.#held.set(k, this.#sums?.hold(slice) ?? slice);
    }
  }

  slice = (k: number): VoxelArray => {
    const values = this.#held.get(k);
    if (!values) throw new RangeError(`Slice ${k} is outside the window.`);
    return values;
  };

  /** A broken slice is bridged by the nearest good ones on either side, weighted by distance. */
  async #load(k: number): Promise<VoxelArray> {
    if (!this.#broken.has(k)) return this.#source.read({ k: [k, k + 1] });
    const below = this.#nearestGood(k, -1);
    const above = this.#nearestGood(k, 1);
    if (below === null || above === null) {
      const k1 = below ?? above ?? k;
      return this.#source.read({ k: [k1, k1 + 1] });
    }
    const a = await this.#source.read({ k: [below, below + 1] });
    const b = await this.#source.read({ k: [above, above + 1] });
    const share = (k - below) / (above - below);
    for (let n = 0; n < a.length; n++) a[n] = a[n]! * (1 - share) + b[n]! * share;
    return a;
  }

  #nearestGood(k: number, step: 1 | -1): number | null {
    for (let n = k + step; n >= 0 && n < this.#source.shape.nz; n += step) if (!this.#broken.has(n)) return n;
    return null;
  }
}
