/** Values of a raster between its pixels. A sampler is all that the measuring arithmetic knows of where pixels come from. */

/** Value at a fractional column and row, pixel centres at integers; NaN where the raster holds no data. */
export type Sampler = (column: number, row: number) => number;

export interface Raster {
  /** height x width, row-major; NaN where there is no data. */
  readonly values: ArrayLike<number>;
  readonly width: number;
  readonly height: number;
}

/** Linear interpolation between the four neighbours; NaN outside the outermost centres or beside a NaN. */
export function bilinear({ values, width, height }: Raster): Sampler {
  return (column, row) => {
    if (!(column >= 0 && row >= 0 && column <= width - 1 && row <= height - 1)) return Number.NaN;
    const c = Math.min(Math.floor(column), Math.max(0, width - 2));
    const r = Math.min(Math.floor(row), Math.max(0, height - 2));
    const u = column - c;
    const v = row - r;
    const at = r * width + c;
    const below = height > 1 ? at + width : at;
    const beside = width > 1 ? 1 : 0;
    return (
      (values[at]! * (1 - u) + values[at + beside]! * u) * (1 - v) +
      (values[below]! * (1 - u) + values[below + beside]! * u) * v
    );
  };
}

/**
 * Cubic convolution over the 16 neighbours, which are repeated at the border; NaN outside the outermost centres or
 * where a neighbour with weight is NaN.
 * @source Keys, IEEE Trans. Acoust. Speech Signal Process. 29, 1153 (1981), a = -1/2.
 */
export function cubic({ values, width, height }: Raster): Sampler {
  const wx = new Float64Array(4);
  const wy = new Float64Array(4);
  return (column, row) => {
    if (!(column >= 0 && row >= 0 && column <= width - 1 && row <= height - 1)) return Number.NaN;
    const c = Math.floor(column);
    const r = Math.floor(row);
    keys(column - c, wx);
    keys(row - r, wy);
    let sum = 0;
    for (let dr = 0; dr < 4; dr++) {
      if (wy[dr] === 0) continue;
      const base = Math.min(height - 1, Math.max(0, r - 1 + dr)) * width;
      let line = 0;
      for (let dc = 0; dc < 4; dc++) {
        if (wx[dc] !== 0) line += wx[dc]! * values[base + Math.min(width - 1, Math.max(0, c - 1 + dc))]!;
      }
      sum += wy[dr]! * line;
    }
    return sum;
  };
}

function keys(t: number, out: Float64Array): void {
  out[0] = ((-t + 2) * t - 1) * t * 0.5;
  out[1] = ((3 * t - 5) * t * t + 2) * 0.5;
  out[2] = ((-3 * t + 4) * t + 1) * t * 0.5;
  out[3] = (t - 1) * t * t * 0.5;
}
