/** What is left of a raster when its slow part is taken away, where only part of the raster holds data. */
import { blurPlane } from './gaussian-plane.ts';

/**
 * Subtracts the mean over a Gaussian neighbourhood, counting only pixels of the mask. The same linear operator for
 * every raster it is applied to, so that a model and an image stay comparable up to the edge of the data.
 */
export class HighPass {
  readonly #mask: Uint8Array;
  readonly #width: number;
  readonly #height: number;
  readonly #sigmaPx: number;
  readonly #share: Float32Array;
  readonly #slow: Float32Array;

  /** @param mask 1 where there is data, width * height */
  constructor(mask: Uint8Array, width: number, height: number, sigmaPx: number) {
    this.#mask = mask;
    this.#width = width;
    this.#height = height;
    this.#sigmaPx = sigmaPx;
    this.#share = blurPlane(Float32Array.from(mask), width, height, sigmaPx);
    this.#slow = new Float32Array(mask.length);
  }

  /** In place; 0 outside the mask. Values outside the mask may be anything, NaN too. */
  apply(values: Float32Array): Float32Array {
    const mask = this.#mask;
    for (let n = 0; n < values.length; n++) if (mask[n] === 0) values[n] = 0;
    blurPlane(values, this.#width, this.#height, this.#sigmaPx, this.#slow);
    for (let n = 0; n < values.length; n++) if (mask[n] !== 0) values[n]! -= this.#slow[n]! / this.#share[n]!;
    return values;
  }
}
