/** Disjoint sets of whole numbers, for joining what touches. */

/**
 * @source R. E. Tarjan, "Efficiency of a Good But Not Linear Set Union Algorithm", J. ACM 22 (1975): union by size;
 * paths are halved on the way as in R. E. Tarjan and J. van Leeuwen, J. ACM 31 (1984).
 */
export class DisjointSets {
  readonly #parent: Int32Array;
  readonly #size: Int32Array;

  constructor(count: number) {
    this.#parent = Int32Array.from({ length: count }, (_, n) => n);
    this.#size = new Int32Array(count).fill(1);
  }

  /** The member that stands for the set of `n`. */
  find(n: number): number {
    const parent = this.#parent;
    let at = n;
    while (parent[at] !== at) {
      parent[at] = parent[parent[at]!]!;
      at = parent[at]!;
    }
    return at;
  }

  /** @returns whether the two were in different sets */
  join(a: number, b: number): boolean {
    let large = this.find(a);
    let small = this.find(b);
    if (large === small) return false;
    if (this.#size[large]! < this.#size[small]!) [large, small] = [small, large];
    this.#parent[small] = large;
    this.#size[large]! += this.#size[small]!;
    return true;
  }

  /** For each number the count of its set, counted from 0 in the order of the sets' first members. */
  labels(): Int32Array {
    const label = new Int32Array(this.#parent.length).fill(-1);
    const labels = new Int32Array(this.#parent.length);
    let next = 0;
    for (let n = 0; n < labels.length; n++) {
      const root = this.find(n);
      if (label[root]! < 0) label[root] = next++;
      labels[n] = label[root]!;
    }
    return labels;
  }
}
