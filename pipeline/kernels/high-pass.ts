/** What is left of a raster when its slow part is taken away, where only part of the raster holds data. */
import { blurPlane, WideBlur } from './gaussian-plane.ts';

/**
 * Subtracts the mean over a Gaussian neighbourhood, counting only pixels of the mask. The same linear operator for
 * every raster it is applied to, so that a model and an image stay comparable up to the edge of the data.
 */
export class HighPass {
  readonly #width: number;
  readonly #blur: WideBlur;
  /** One over the share of the neighbourhood that is of the mask. */
  readonly #factor: Float32Array;

  /**
   * @param mask 1 where there is data, width * height
   * @param sigmaPx at least 4 pixels
   */
  constructor(mask: Uint8Array, width: number, height: number, sigmaPx: number) {
    this.#width = width;
    this.#blur = new WideBlur(width, height, sigmaPx, mask);
    const share = blurPlane(Float32Array.from(mask), width, height, sigmaPx);
    this.#factor = share.map((v) => 1 / v);
  }

  /** In place; 0 outside the mask. Values outside the mask may be anything, NaN too. */
  apply(values: Float32Array): Float32Array {
    this.#blur.subtract(this.#blur.of(values), this.#factor, values);
    return values;
  }

  /** What `apply` would leave at a pixel of the mask, for when a few are asked for; the values are left as they are. */
  sampler(values: Float32Array): (pixel: number) => number {
    const coarse = this.#blur.of(values);
    return (n) => {
      const y = Math.floor(n / this.#width);
      return values[n]! - this.#blur.at(coarse, n - y * this.#width, y) * this.#factor[n]!;
    };
  }
}
