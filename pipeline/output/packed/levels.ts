/** A grey picture in halves of its size, down to a single tile; pixels without data take no part in any mean. */
export interface GreyLevel {
  readonly width: number;
  readonly height: number;
  readonly grey: Uint8Array;
  /** 1 where there is data; null where there is data everywhere. */
  readonly held: Uint8Array | null;
}

export function greyLevels(full: GreyLevel, tilePx: number): GreyLevel[] {
  const levels = [full];
  for (let last = full; Math.max(last.width, last.height) > tilePx; ) {
    last = halved(last);
    levels.push(last);
  }
  return levels;
}

/** Sizes are rounded up, as in Deep Zoom; a square of which at least half has data has some. */
function halved({ width, height, grey, held }: GreyLevel): GreyLevel {
  const [w, h] = [Math.ceil(width / 2), Math.ceil(height / 2)];
  const small = new Uint8Array(w * h);
  const has = held && new Uint8Array(w * h);
  for (let row = 0; row < h; row++) {
    const upper = 2 * row * width;
    const lower = 2 * row + 1 < height ? upper + width : upper;
    for (let column = 0; column < w; column++) {
      const left = 2 * column;
      const right = left + 1 < width ? left + 1 : left;
      const [a, b, c, d] = [upper + left, upper + right, lower + left, lower + right];
      const at = row * w + column;
      if (!held || !has) {
        small[at] = (grey[a]! + grey[b]! + grey[c]! + grey[d]! + 2) >> 2;
        continue;
      }
      const count = held[a]! + held[b]! + held[c]! + held[d]!;
      if (count < 2) continue;
      has[at] = 1;
      const sum = grey[a]! * held[a]! + grey[b]! * held[b]! + grey[c]! * held[c]! + grey[d]! * held[d]!;
      small[at] = Math.round(sum / count);
    }
  }
  return { width: w, height: h, grey: small, held: has };
}

const BLOCK = 8;

/**
 * The picture widened to whole blocks of the codec, and without data filled by the mean of what its block does hold:
 * an edge inside a block would ring into the data beside it.
 */
export function forBlocks({ width, height, grey, held }: GreyLevel): GreyLevel {
  const w = BLOCK * Math.ceil(width / BLOCK);
  const h = BLOCK * Math.ceil(height / BLOCK);
  if (!held && w === width && h === height) return { width, height, grey, held };
  const out = new Uint8Array(w * h);
  for (let row = 0; row < h; row++) {
    const from = Math.min(row, height - 1) * width;
    const to = row * w;
    out.set(grey.subarray(from, from + width), to);
    out.fill(grey[from + width - 1]!, to + width, to + w);
  }
  if (held)
    for (let top = 0; top < height; top += BLOCK)
      for (let left = 0; left < width; left += BLOCK) fillBlock(out, w, left, top, held, width, height);
  return { width: w, height: h, grey: out, held: null };
}

function fillBlock(
  out: Uint8Array,
  w: number,
  left: number,
  top: number,
  held: Uint8Array,
  width: number,
  height: number,
): void {
  let [sum, count, seen] = [0, 0, 0];
  const bottom = Math.min(height, top + BLOCK);
  const right = Math.min(width, left + BLOCK);
  for (let row = top; row < bottom; row++)
    for (let column = left; column < right; column++) {
      seen++;
      if (held[row * width + column] === 0) continue;
      sum += out[row * w + column]!;
      count++;
    }
  if (count === seen) return;
  const mean = count === 0 ? 128 : Math.round(sum / count);
  for (let row = top; row < top + BLOCK; row++)
    for (let column = left; column < left + BLOCK; column++) {
      const inside = row < height && column < width;
      if (!inside || held[row * width + column] === 0) out[row * w + column] = mean;
    }
}
