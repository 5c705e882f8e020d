/** The best few of very many places, each kept once. */
import type { Hypothesis } from './orientation.ts';

/** Places nearer than this, in plane and in height, are the same place. */
export interface Apart {
  readonly planeUm: number;
  readonly heightUm: number;
}

export function samePlace(p: Hypothesis, q: Hypothesis, apart: Apart): boolean {
  return (
    p.orientation === q.orientation &&
    p.rising === q.rising &&
    p.sign === q.sign &&
    Math.hypot(p.x - q.x, p.y - q.y) < apart.planeUm &&
    Math.abs(p.z - q.z) < apart.heightUm
  );
}

export class TopList {
  readonly #apart: Apart;
  readonly #size: number;
  #kept: Hypothesis[] = [];
  /** What a place must score to get in. */
  threshold = 0;

  constructor(size: number, apart: Apart) {
    this.#size = size;
    this.#apart = apart;
  }

  add(place: Hypothesis): void {
    if (place.score <= this.threshold) return;
    if (this.#kept.some((kept) => kept.score >= place.score && samePlace(kept, place, this.#apart))) return;
    this.#kept = this.#kept.filter((kept) => !samePlace(kept, place, this.#apart));
    this.#kept.push(place);
    if (this.#kept.length <= this.#size) return;
    this.#kept.sort((p, q) => q.score - p.score);
    this.#kept.length = this.#size;
    this.threshold = this.#kept.at(-1)!.score;
  }

  /** Best first. */
  best(): Hypothesis[] {
    return [...this.#kept].sort((p, q) => q.score - p.score);
  }
}
