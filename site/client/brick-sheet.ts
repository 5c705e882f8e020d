/** One sheet of a brick in the browser: a picture of many planes, taken apart into two bytes per pixel. */
import { NO_DATA } from '../lib/brick-order.ts';

/** A canvas for taking planes out of sheets; one serves all. */
export type PlaneCanvas = CanvasRenderingContext2D;

export class BrickSheet {
  /** Gone once every plane was taken out: it holds four bytes per pixel. */
  #bitmap: ImageBitmap | null;
  readonly #greys: (Uint16Array | null)[];
  /** Upper left pixel of every plane. */
  readonly #corners: readonly (readonly [number, number])[];

  constructor(bitmap: ImageBitmap, corners: readonly (readonly [number, number])[]) {
    this.#bitmap = bitmap;
    this.#corners = corners;
    this.#greys = corners.map(() => null);
  }

  /**
   * Greys of a plane, row by row; NO_DATA where it has none.
   * @param n number of the plane within the sheet
   * @param context a canvas of the size of a plane
   */
  greys(n: number, context: PlaneCanvas): Uint16Array {
    const held = this.#greys[n];
    if (held) return held;
    const { width, height } = context.canvas;
    const [x, y] = this.#corners[n]!;
    context.globalCompositeOperation = 'copy';
    context.drawImage(this.#bitmap!, x, y, width, height, 0, 0, width, height);
    const { data } = context.getImageData(0, 0, width, height);
    const greys = new Uint16Array(width * height);
    for (let i = 0; i < greys.length; i++) greys[i] = data[4 * i + 3]! < 128 ? NO_DATA : data[4 * i]!;
    this.#greys[n] = greys;
    if (this.#greys.every((one) => one !== null)) {
      this.#bitmap!.close();
      this.#bitmap = null;
    }
    return greys;
  }

  /** Takes out one plane that was not yet; false where none is left. */
  takeOne(context: PlaneCanvas): boolean {
    const next = this.#greys.indexOf(null);
    if (next >= 0) this.greys(next, context);
    return next >= 0;
  }
}
