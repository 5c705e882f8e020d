/** Boxes and windows through placement maps. */
import type { Affine2 } from '../../../shared/affine.ts';
import { type Box, EMPTY_BOX, isEmptyBox } from '../../../shared/polygon.ts';

/**
 * Box of the image of a box: exact where the map keeps the axes (see `keepsAxes`), else the smallest box round
 * the turned one. The map may lie at `at` in a longer array.
 */
export function transformBox(m: ArrayLike<number>, box: Box, at = 0): Box {
  if (isEmptyBox(box)) return EMPTY_BOX;
  const [x0, y0, x1, y1] = box;
  const a = m[at];
  const b = m[at + 1];
  const c = m[at + 3];
  const d = m[at + 4];
  const tx = m[at + 2];
  const ty = m[at + 5];
  return [
    Math.min(a * x0, a * x1) + Math.min(b * y0, b * y1) + tx,
    Math.min(c * x0, c * x1) + Math.min(d * y0, d * y1) + ty,
    Math.max(a * x0, a * x1) + Math.max(b * y0, b * y1) + tx,
    Math.max(c * x0, c * x1) + Math.max(d * y0, d * y1) + ty,
  ];
}

/** Map "first the one at `at` in `b`, then `a`". */
export function composeAt(a: Affine2, b: ArrayLike<number>, at: number): Affine2 {
  const [a0, a1, a2, a3, a4, a5] = a;
  const b0 = b[at];
  const b1 = b[at + 1];
  const b2 = b[at + 2];
  const b3 = b[at + 3];
  const b4 = b[at + 4];
  const b5 = b[at + 5];
  return [
    a0 * b0 + a1 * b3,
    a0 * b1 + a1 * b4,
    a0 * b2 + a1 * b5 + a2,
    a3 * b0 + a4 * b3,
    a3 * b1 + a4 * b4,
    a3 * b2 + a4 * b5 + a5,
  ];
}

/** Conversion of coordinates in database units to micrometres and back. */
export class UmScale {
  readonly #dbuUm: number;
  /** Whole number of database units per micrometre, or 0. */
  readonly #perUm: number;

  constructor(dbuUm: number) {
    this.#dbuUm = dbuUm;
    const perUm = Math.round(1 / dbuUm);
    // 1001 / 1000 gives the double nearest to 1.001, 1001 * 0.001 does not.
    this.#perUm = perUm > 0 && Math.abs(perUm * dbuUm - 1) < 1e-12 ? perUm : 0;
  }

  toUm(dbu: number): number {
    return this.#perUm > 0 ? dbu / this.#perUm : dbu * this.#dbuUm;
  }

  toDbu(um: number): number {
    return this.#perUm > 0 ? um * this.#perUm : um / this.#dbuUm;
  }

  boxToUm(box: Box): Box {
    return isEmptyBox(box)
      ? EMPTY_BOX
      : [this.toUm(box[0]), this.toUm(box[1]), this.toUm(box[2]), this.toUm(box[3])];
  }

  boxToDbu(box: Box): Box {
    return [this.toDbu(box[0]), this.toDbu(box[1]), this.toDbu(box[2]), this.toDbu(box[3])];
  }
}
