/** Exact Euclidean distances of a raster. */

const FAR = 1e12;

/**
 * Squared distance of every pixel, in pixels, to the nearest pixel of the mask (0 on it); 1e12 or more where there is none.
 * @param mask not 0 where distances start
 * @source Felzenszwalb and Huttenlocher, Theory of Computing 8, 415 (2012): lower envelope of parabolas, axis by axis
 */
export function squaredDistances(mask: ArrayLike<number>, width: number, height: number): Float64Array {
  const out = new Float64Array(width * height);
  for (let n = 0; n < out.length; n++) out[n] = mask[n] === 0 ? FAR : 0;
  const longest = Math.max(width, height);
  const line = new Float64Array(longest);
  const envelope = new Int32Array(longest);
  const bounds = new Float64Array(longest + 1);
  for (let x = 0; x < width; x++) {
    for (let y = 0; y < height; y++) line[y] = out[y * width + x]!;
    lowerEnvelope(line, height, envelope, bounds, (y, value) => {
      out[y * width + x] = value;
    });
  }
  for (let y = 0; y < height; y++) {
    const base = y * width;
    line.set(out.subarray(base, base + width));
    lowerEnvelope(line, width, envelope, bounds, (x, value) => {
      out[base + x] = value;
    });
  }
  return out;
}

function lowerEnvelope(
  f: Float64Array,
  length: number,
  at: Int32Array,
  bounds: Float64Array,
  write: (position: number, value: number) => void,
): void {
  let k = 0;
  at[0] = 0;
  bounds[0] = -Infinity;
  bounds[1] = Infinity;
  for (let q = 1; q < length; q++) {
    let crossing: number;
    do {
      const p = at[k]!;
      crossing = (f[q]! + q * q - f[p]! - p * p) / (2 * (q - p));
    } while (crossing <= bounds[k]! && --k >= 0);
    k++;
    at[k] = q;
    bounds[k] = crossing;
    bounds[k + 1] = Infinity;
  }
  k = 0;
  for (let q = 0; q < length; q++) {
    while (bounds[k + 1]! < q) k++;
    const p = at[k]!;
    write(q, (q - p) * (q - p) + f[p]!);
  }
}
