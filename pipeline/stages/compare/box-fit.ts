/** Fits the box of changed metal that explains the evidence around a place best. */
import type { PixelBox } from './canvas.ts';
import { COUPLING_REACH } from './evidence.ts';

/** All that is needed to judge a layer, or a cut-out of it. Rasters are width * height. */
export interface Field {
  readonly width: number;
  readonly height: number;
  /** Evidence per pixel of coverage weighed by `trust`; changed where a difference has been accounted for. */
  readonly gain: Float32Array;
  readonly coupling: Float32Array;
  /** What coverage weighs at a pixel, one over the local deviation. */
  readonly trust: Float32Array;
  /** Coverage by drawn shapes. */
  readonly drawn: Float32Array;
  /** Coverage by drawn shapes and fill. */
  readonly known: Float32Array;
  /** 1 where differences are looked for. */
  readonly judged: Uint8Array;
  /** 1 where judged close to where nothing is: what lies beyond is not known and leaves more misfit. */
  readonly rim?: Uint8Array;
}

/** Where a change is looked for: in the drawn metal, or where there is none. */
export type Ground = 'metal' | 'gap';

export interface Difference extends PixelBox {
  readonly ground: Ground;
  /** 1: more metal than modelled, -1: less. */
  readonly sign: 1 | -1;
  /** Share of the box's area on its ground that changed, by least squares; not limited to 1. */
  readonly amplitude: number;
  readonly amplitudeSd: number;
  /** Log-likelihood ratio, with the amplitude limited to 1. */
  readonly llr: number;
  /** Evidence in standard deviations. */
  readonly z: number;
  /** Area on its ground, pixels. */
  readonly areaPx: number;
}

const SIDE = 192;
/** Steps that a side takes: the middle one first, the others where it succeeds or where no side can take it. */
const [LONG_STEP, STEP, SHORT_STEP] = [6, 2, 1];
const MOST_MOVES = 80;
/** A box that is so far below what is asked for after so many moves will not get there. */
const HOPELESS_MOVES = 3;
const HOPELESS_SHARE = 0.8;
/** What a step must gain: the evidence that noise alone offers to a box that may choose its sides. */
const LEAST_GAIN = 0.7;

/** Pixels covered less than this do not count as ground. */
const LEAST_COVER = 0.05;

/** Column, row, weighed share, share: of one strip at a time, so that all fitters can share it. */
const CELLS = new Float64Array(4 * SIDE * SIDE);

export class BoxFitter {
  readonly #field: Field;
  readonly #response = new Float64Array(SIDE * SIDE);
  readonly #cells = CELLS;
  #ground: Ground = 'metal';
  #sign: 1 | -1 = 1;
  /** Canvas position of the scratch raster. */
  #left = 0;
  #top = 0;
  #n = 0;
  #q = 0;
  #area = 0;
  #touched: PixelBox = { x0: 0, y0: 0, x1: 0, y1: 0 };

  constructor(field: Field) {
    this.#field = field;
  }

  /**
   * Best box that grows or shrinks from a seed; null where the seed has no ground, or will not reach `leastZ`.
   */
  fit(seed: PixelBox, ground: Ground, sign: 1 | -1, leastZ = 0): Difference | null {
    let box = this.#start(seed, ground, sign);
    if (this.#q <= 0) return null;
    const hopeless = (HOPELESS_SHARE * leastZ) ** 2 / 2;
    for (let move = 0; move < MOST_MOVES; move++) {
      if (move === HOPELESS_MOVES && ratio(this.#n, this.#q) < hopeless) return null;
      const next = this.#bestMove(box);
      if (!next) break;
      box = next;
    }
    return this.#difference(box);
  }

  /** Evidence for a box, without what it would have to be weighed against. */
  evidence(box: PixelBox, ground: Ground, sign: 1 | -1): number {
    this.#ground = ground;
    const { gain, width } = this.#field;
    const count = this.#gather(box);
    let sum = 0;
    for (let i = 0; i < 4 * count; i += 4)
      sum += this.#cells[i + 2]! * gain[this.#cells[i + 1]! * width + this.#cells[i]!]!;
    return sign * sum;
  }

  /** A box as it is, weighed. */
  measure(box: PixelBox, ground: Ground, sign: 1 | -1): Difference | null {
    this.#start(box, ground, sign);
    return this.#q > 0 ? this.#difference(box) : null;
  }

  /** Takes the last fitted or measured change out of the evidence, so that it is not found twice. */
  account(difference: Difference): void {
    this.#start(difference, difference.ground, difference.sign);
    const { gain, width, height } = this.#field;
    const by = difference.sign * Math.min(difference.amplitude, 1);
    const t = this.#touched;
    for (let y = Math.max(t.y0, 0); y < Math.min(t.y1, height); y++)
      for (let x = Math.max(t.x0, 0); x < Math.min(t.x1, width); x++) {
        const n = y * width + x;
        gain[n]! -= by * this.#response[(y - this.#top) * SIDE + x - this.#left]!;
      }
  }

  #start(box: PixelBox, ground: Ground, sign: 1 | -1): PixelBox {
    this.#ground = ground;
    this.#sign = sign;
    this.#left = Math.round((box.x0 + box.x1 - SIDE) / 2);
    this.#top = Math.round((box.y0 + box.y1 - SIDE) / 2);
    this.#response.fill(0);
    this.#touched = { x0: box.x0, y0: box.y0, x1: box.x1, y1: box.y1 };
    this.#n = 0;
    this.#q = 0;
    this.#area = 0;
    this.#add(box, 1);
    return box;
  }

  #difference(box: PixelBox): Difference {
    const q = this.#q;
    const amplitude = q > 0 ? this.#n / q : 0;
    return {
      ...box,
      ground: this.#ground,
      sign: this.#sign,
      amplitude,
      amplitudeSd: q > 0 ? 1 / Math.sqrt(q) : Infinity,
      llr: ratio(this.#n, q),
      z: Math.sqrt(2 * ratio(this.#n, q)),
      areaPx: this.#area,
    };
  }

  #fits(box: PixelBox): boolean {
    const { width, height } = this.#field;
    const reach = COUPLING_REACH;
    return (
      box.x0 >= Math.max(0, this.#left + reach) &&
      box.y0 >= Math.max(0, this.#top + reach) &&
      box.x1 <= Math.min(width, this.#left + SIDE - reach) &&
      box.y1 <= Math.min(height, this.#top + SIDE - reach) &&
      box.x1 - box.x0 >= 1 &&
      box.y1 - box.y0 >= 1
    );
  }

  /** The best of some moves and what it gains, null where none gains enough. */
  #best(box: PixelBox, moves: readonly Move[]): { move: Move; moved: PixelBox; worth: number } | null {
    const now = ratio(this.#n, this.#q);
    let best: { move: Move; moved: PixelBox; worth: number } | null = null;
    for (const move of moves) {
      const { side, outward, step } = move;
      const low = side === 'x0' || side === 'y0';
      const moved = { ...box, [side]: box[side] + (outward === low ? -step : step) };
      if (!this.#fits(moved)) continue;
      const effect = this.#effect(stripBetween(box, moved, side), outward ? 1 : -1, outward);
      if (!effect) continue;
      const [n, q, area] = effect;
      const gained = ratio(n, q) - now;
      // Giving up empty ground costs nothing and makes the box tell the truth.
      const worth = !outward && area === this.#area && this.#area > 0 ? LEAST_GAIN + 1e-6 + gained : gained;
      if (worth > (best?.worth ?? LEAST_GAIN)) best = { move, moved, worth };
    }
    return best;
  }

  #bestMove(box: PixelBox): PixelBox | null {
    let best = this.#best(box, MOVES.get(STEP)!);
    if (best) {
      const { side, outward } = best.move;
      const other = this.#best(box, [
        { side, outward, step: LONG_STEP },
        { side, outward, step: SHORT_STEP },
      ]);
      if (other && other.worth > best.worth) best = other;
    } else best = this.#best(box, MOVES.get(SHORT_STEP)!) ?? this.#best(box, MOVES.get(LONG_STEP)!);
    const chosen = best?.moved;
    if (!chosen) return null;
    for (const side of ['x0', 'y0', 'x1', 'y1'] as const) {
      if (chosen[side] === box[side]) continue;
      const low = side === 'x0' || side === 'y0';
      const outward = low === chosen[side] < box[side];
      this.#add(stripBetween(box, chosen, side), outward ? 1 : -1);
    }
    return chosen;
  }

  /** Sums after adding (1) or removing (-1) a strip: evidence, coupling, area. */
  #effect(strip: PixelBox, by: 1 | -1, outwardOnly = false): [number, number, number] | null {
    const { gain, width } = this.#field;
    const count = this.#gather(strip);
    const cells = this.#cells;
    let n = 0;
    let cross = 0;
    let area = 0;
    for (let i = 0; i < 4 * count; i += 4) {
      const w = cells[i + 2]!;
      n += w * gain[cells[i + 1]! * width + cells[i]!]!;
      area += cells[i + 3]!;
    }
    n *= this.#sign;
    // Ground without evidence is not taken in: it could only pay by cancelling what is in already.
    if (outwardOnly && n <= 0) return null;
    for (let i = 0; i < 4 * count; i += 4)
      cross += cells[i + 2]! * this.#response[(cells[i + 1]! - this.#top) * SIDE + cells[i]! - this.#left]!;
    return [this.#n + by * n, this.#q + 2 * by * cross + this.#own(count), this.#area + by * area];
  }

  /** Lists the cells of a strip that lie on the ground. */
  #gather(strip: PixelBox): number {
    const { width, judged, drawn, known, trust } = this.#field;
    const cells = this.#cells;
    const metal = this.#ground === 'metal';
    let to = 0;
    for (let y = strip.y0; y < strip.y1; y++)
      for (let x = strip.x0; x < strip.x1; x++) {
        const at = y * width + x;
        const w = judged[at] === 0 ? 0 : metal ? drawn[at]! : 1 - known[at]!;
        if (w < LEAST_COVER) continue;
        cells[to++] = x;
        cells[to++] = y;
        cells[to++] = w * trust[at]!;
        cells[to++] = w;
      }
    return to / 4;
  }

  /** Coupling of the gathered cells with themselves. */
  #own(count: number): number {
    const { coupling } = this.#field;
    const cells = this.#cells;
    const reach = COUPLING_REACH;
    const side = 2 * reach + 1;
    const own = coupling[reach * side + reach]!;
    let sum = 0;
    for (let i = 0; i < 4 * count; i += 4) {
      const x = cells[i]!;
      const y = cells[i + 1]!;
      const w = cells[i + 2]!;
      sum += w * w * own;
      const base = (reach - y) * side + reach - x;
      for (let j = i + 4; j < 4 * count; j += 4) {
        const dx = cells[j]! - x;
        const row = cells[j + 1]!;
        if (row - y > reach) break;
        if (dx < -reach || dx > reach) continue;
        sum += 2 * w * cells[j + 2]! * coupling[base + row * side + cells[j]!]!;
      }
    }
    return sum;
  }

  #add(strip: PixelBox, by: 1 | -1): void {
    const [n, q, area] = this.#effect(strip, by)!;
    this.#n = n;
    this.#q = q;
    this.#area = area;
    const { coupling } = this.#field;
    const cells = this.#cells;
    const reach = COUPLING_REACH;
    const side = 2 * reach + 1;
    const count = this.#gather(strip);
    for (let i = 0; i < 4 * count; i += 4) {
      const x = cells[i]!;
      const y = cells[i + 1]!;
      const w = by * cells[i + 2]!;
      for (let dy = -reach; dy <= reach; dy++) {
        const to = (y - this.#top + dy) * SIDE + x - this.#left;
        const from = (dy + reach) * side + reach;
        for (let dx = -reach; dx <= reach; dx++) this.#response[to + dx]! += w * coupling[from + dx]!;
      }
    }
    const t = this.#touched;
    this.#touched = {
      x0: Math.min(t.x0, strip.x0 - reach),
      y0: Math.min(t.y0, strip.y0 - reach),
      x1: Math.max(t.x1, strip.x1 + reach),
      y1: Math.max(t.y1, strip.y1 + reach),
    };
  }
}

/** Log-likelihood ratio at the best amplitude between 0 and 1. */
function ratio(n: number, q: number): number {
  if (!(q > 0) || n <= 0) return 0;
  const amplitude = Math.min(n / q, 1);
  return amplitude * n - (amplitude * amplitude * q) / 2;
}

interface Move {
  readonly side: 'x0' | 'y0' | 'x1' | 'y1';
  readonly outward: boolean;
  readonly step: number;
}

const MOVES: ReadonlyMap<number, readonly Move[]> = new Map(
  [LONG_STEP, STEP, SHORT_STEP].map((step) => [
    step,
    (['x0', 'y0', 'x1', 'y1'] as const).flatMap((side) =>
      [true, false].map((outward) => ({ side, outward, step })),
    ),
  ]),
);

function stripBetween(a: PixelBox, b: PixelBox, side: 'x0' | 'y0' | 'x1' | 'y1'): PixelBox {
  const low = Math.min(a[side], b[side]);
  const high = Math.max(a[side], b[side]);
  return side === 'x0' || side === 'x1'
    ? { x0: low, x1: high, y0: a.y0, y1: a.y1 }
    : { x0: a.x0, x1: a.x1, y0: low, y1: high };
}
