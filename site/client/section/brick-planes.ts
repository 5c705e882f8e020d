/** The planes of a brick as values: sheets fetched once, on first need. */
import type { Brick } from '../../../shared/artefacts/brick.ts';
import { planesOfSheet } from '../../lib/section.ts';
import { decodeTile } from '../tile-reader.ts';

export class BrickPlanes {
  readonly brick: Brick;
  readonly #root: string;
  readonly #planes = new Map<number, Float32Array>();
  #loading: Promise<void> | null = null;

  /** @returns null where the scan has no brick */
  static async open(root: string): Promise<BrickPlanes | null> {
    const answer = await fetch(`${root}brick.json`).catch(() => null);
    return answer?.ok ? new BrickPlanes((await answer.json()) as Brick, root) : null;
  }

  private constructor(brick: Brick, root: string) {
    this.brick = brick;
    this.#root = root;
  }

  plane(n: number): Float32Array | null {
    return this.#planes.get(n) ?? null;
  }

  /** Fetches all sheets; `onSheet` is called as each arrives. */
  load(onSheet: () => void): Promise<void> {
    this.#loading ??= Promise.all(
      this.brick.sheets.map(async (sheet, n) => {
        const answer = await fetch(this.#root + sheet.file);
        if (!answer.ok) throw new Error(`${sheet.file}: ${answer.status}`);
        const bitmap = await decodeTile(await answer.blob());
        const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
        const context = canvas.getContext('2d', { willReadFrequently: true })!;
        context.drawImage(bitmap, 0, 0);
        const bytes = context.getImageData(0, 0, bitmap.width, bitmap.height);
        bitmap.close();
        for (const [plane, values] of planesOfSheet(this.brick, n, bytes)) this.#planes.set(plane, values);
        onSheet();
      }),
    ).then(() => undefined);
    this.#loading.catch(() => {
      this.#loading = null;
    });
    return this.#loading;
  }
}
