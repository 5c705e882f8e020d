/** Portraits out of the sums of runs, added in the order of the runs, so that rounding is the same in every build. */
import type { PlateResult, PlateTask } from './plate-task.ts';

/** Mean image of a layer over its plates, NaN where there is no data, on the plate grid. */
export interface Portrait {
  readonly name: string;
  readonly first: number;
  readonly last: number;
  readonly values: Float32Array;
}

type Layer = PlateTask['portraits'][number];

export class PortraitJoiner {
  readonly #tasks: readonly PlateTask[];
  readonly #layers: readonly Layer[];
  readonly #pixels: number;
  /** Results that came before their turn. */
  readonly #waiting = new Map<number, PlateResult['portraits']>();
  readonly #open = new Map<string, { sum: Float64Array; count: Uint32Array }>();
  readonly #done = new Map<string, Portrait>();
  #next = 0;

  constructor(tasks: readonly PlateTask[], layers: readonly Layer[], pixels: number) {
    this.#tasks = tasks;
    this.#layers = layers;
    this.#pixels = pixels;
  }

  /** @param run number of the run; each is added once */
  add(run: number, parts: PlateResult['portraits']): void {
    this.#waiting.set(run, parts);
    for (let next = this.#take(); next; next = this.#take()) {
      for (const part of next) this.#accumulate(part);
      const { firstIndex, zUm } = this.#tasks[this.#next]!;
      this.#next++;
      // What later plates add nothing to is finished: sums are held for the layers in hand only.
      for (const layer of this.#layers) {
        if (layer.last >= firstIndex && layer.last < firstIndex + zUm.length) this.#finish(layer);
      }
    }
  }

  /** In the order of the layers; every run must have been added. */
  portraits(): Portrait[] {
    return this.#layers.map((layer) => this.#done.get(layer.name)!);
  }

  #take(): PlateResult['portraits'] | undefined {
    const parts = this.#waiting.get(this.#next);
    this.#waiting.delete(this.#next);
    return parts;
  }

  #accumulate(part: PlateResult['portraits'][number]): void {
    let open = this.#open.get(part.name);
    if (!open) {
      open = { sum: new Float64Array(this.#pixels), count: new Uint32Array(this.#pixels) };
      this.#open.set(part.name, open);
    }
    const { sum, count } = open;
    for (let n = 0; n < sum.length; n++) {
      sum[n]! += part.sum[n]!;
      count[n]! += part.count[n]!;
    }
  }

  #finish({ name, first, last }: Layer): void {
    const open = this.#open.get(name);
    this.#open.delete(name);
    const values = new Float32Array(this.#pixels).fill(Number.NaN);
    if (open) {
      const { sum, count } = open;
      for (let n = 0; n < values.length; n++) if (count[n]! > 0) values[n] = sum[n]! / count[n]!;
    }
    this.#done.set(name, { name, first, last, values });
  }
}
