/** What varies slowly over the field is taken away: grey drift, and all that the missing cone smears along the depth. */

/**
 * Subtracts the mean of the valid pixels in a square of side 2 radius + 1 around each pixel. Invalid pixels become 0.
 * @param valid 1 where a pixel counts
 */
export class LocalMean {
  readonly #width: number;
  readonly #height: number;
  readonly #radius: number;
  readonly #sumRows: Float64Array;
  readonly #countRows: Float64Array;
  readonly #sums: Float64Array;
  readonly #counts: Float64Array;

  constructor(width: number, height: number, radius: number) {
    this.#width = width;
    this.#height = height;
    this.#radius = radius;
    this.#sumRows = new Float64Array(width * height);
    this.#countRows = new Float64Array(width * height);
    this.#sums = new Float64Array(width);
    this.#counts = new Float64Array(width);
  }

  subtract(values: ArrayLike<number>, valid: Uint8Array, out: Float32Array): void {
    const [width, height, radius] = [this.#width, this.#height, this.#radius];
    const rows = this.#sumRows;
    const rowCounts = this.#countRows;
    for (let row = 0; row < height; row++) {
      const base = row * width;
      let sum = 0;
      let count = 0;
      for (let column = -radius; column < width; column++) {
        const enter = column + radius;
        if (enter < width && valid[base + enter]) {
          sum += values[base + enter]!;
          count++;
        }
        const leave = column - radius - 1;
        if (leave >= 0 && valid[base + leave]) {
          sum -= values[base + leave]!;
          count--;
        }
        if (column < 0) continue;
        rows[base + column] = sum;
        rowCounts[base + column] = count;
      }
    }
    const sums = this.#sums.fill(0);
    const counts = this.#counts.fill(0);
    for (let row = -radius; row < height; row++) {
      const enter = (row + radius) * width;
      const leave = (row - radius - 1) * width;
      if (row + radius < height)
        for (let column = 0; column < width; column++) {
          sums[column]! += rows[enter + column]!;
          counts[column]! += rowCounts[enter + column]!;
        }
      if (leave >= 0)
        for (let column = 0; column < width; column++) {
          sums[column]! -= rows[leave + column]!;
          counts[column]! -= rowCounts[leave + column]!;
        }
      if (row < 0) continue;
      const base = row * width;
      for (let column = 0; column < width; column++) {
        const at = base + column;
        out[at] = valid[at] && counts[column]! > 0 ? values[at]! - sums[column]! / counts[column]! : 0;
      }
    }
  }
}
