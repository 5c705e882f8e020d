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
function halved(full: GreyLevel): GreyLevel {
  const { width, height, held } = full;
  const [w, h] = [Math.ceil(width / 2), Math.ceil(height / 2)];
  const small = { width: w, height: h, grey: new Uint8Array(w * h), held: held && new Uint8Array(w * h) };
  for (let row = 0; row < h; row++) {
    const upper = 2 * row * width;
    // Beyond the last row and column stands the last one again.
    const lower = 2 * row + 1 < height ? upper + width : upper;
    if (held?.subarray(upper, lower + width).includes(0)) halveHeld(full, small, row, upper, lower);
    else halveWhole(full, small, row, upper, lower);
  }
  return small;
}

/** A row of squares that have data everywhere. */
function halveWhole(
  { width, grey }: GreyLevel,
  small: GreyLevel,
  row: number,
  up: number,
  low: number,
): void {
  const out = small.grey;
  const from = row * small.width;
  const even = width >> 1;
  for (let n = 0, a = up, c = low; n < even; n++, a += 2, c += 2)
    out[from + n] = (grey[a]! + grey[a + 1]! + grey[c]! + grey[c + 1]! + 2) >> 2;
  if (even < small.width)
    out[from + even] = (2 * grey[up + width - 1]! + 2 * grey[low + width - 1]! + 2) >> 2;
  small.held?.fill(1, from, from + small.width);
}

function halveHeld(full: GreyLevel, small: GreyLevel, row: number, up: number, low: number): void {
  const { width, grey } = full;
  const held = full.held!;
  const even = width >> 1;
  let [upper, lower] = [up, low];
  for (let column = 0, at = row * small.width; column < small.width; column++, at++, upper += 2, lower += 2) {
    const right = column < even ? 1 : 0;
    const p = held[upper]!;
    const q = held[upper + right]!;
    const r = held[lower]!;
    const s = held[lower + right]!;
    const count = p + q + r + s;
    if (count < 2) continue;
    small.held![at] = 1;
    const a = grey[upper]!;
    const b = grey[upper + right]!;
    const c = grey[lower]!;
    const d = grey[lower + right]!;
    small.grey[at] =
      count === 4 ? (a + b + c + d + 2) >> 2 : Math.round((a * p + b * q + c * r + d * s) / count);
  }
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
  const words = held && new DataView(held.buffer, held.byteOffset, held.length);
  if (held && words)
    for (let top = 0; top < height; top += BLOCK) {
      const whole = !held.subarray(top * width, (top + BLOCK) * width).includes(0);
      if (whole && w === width && top + BLOCK <= height) continue;
      const inner = top + BLOCK <= height ? width - BLOCK : -1;
      for (let left = 0; left < width; left += BLOCK)
        if (left > inner || !isWhole(words, top * width + left, width))
          fillBlock(out, w, left, top, held, width, height);
    }
  return { width: w, height: h, grey: out, held: null };
}

/** Whether a block has data everywhere, four pixels at a look. */
function isWhole(held: DataView, from: number, width: number): boolean {
  for (let row = 0, at = from; row < BLOCK; row++, at += width)
    if (held.getUint32(at) !== 0x01010101 || held.getUint32(at + 4) !== 0x01010101) return false;
  return true;
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
  const bottom = Math.min(height, top + BLOCK);
  const right = Math.min(width, left + BLOCK);
  let sum = 0;
  let count = 0;
  for (let row = top; row < bottom; row++)
    for (let column = left; column < right; column++) {
      if (held[row * width + column] === 0) continue;
      sum += out[row * w + column]!;
      count++;
    }
  if (count === (bottom - top) * (right - left)) return;
  const mean = count === 0 ? 128 : Math.round(sum / count);
  for (let row = top; row < top + BLOCK; row++)
    for (let column = left; column < left + BLOCK; column++) {
      const inside = row < height && column < width;
      if (!inside || held[row * width + column] === 0) out[row * w + column] = mean;
    }
}
