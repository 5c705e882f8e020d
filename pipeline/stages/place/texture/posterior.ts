/**
 * Probabilities of all monotone ways to lay a stack into the depth at once (forward and backward sums over levels and
 * cells), so that what the evidence leaves open comes out as open.
 */

export interface StackStretch {
  /** Logarithm of the likelihood of cells begin to end (half open, inside the scan) as this stretch. */
  readonly weigh: (begin: number, end: number) => number;
  readonly least: number;
  readonly most: number;
  readonly expected: number;
  readonly sd: number;
}

export interface StackPosterior {
  /** Logarithm of the evidence: the likelihood summed over all ways. */
  readonly evidence: number;
  /** Probability of each stretch at each cell of the scan, [stretch][cell]. */
  readonly at: readonly Float64Array[];
  /** Mean and standard deviation of each level, in cells of the scan; one more than there are stretches. */
  readonly mean: Float64Array;
  readonly sd: Float64Array;
}

/**
 * @param cells cells of the scan
 * @param beyond cells that the stack may reach out of the scan at either end
 * @param outside logarithm of the likelihood of cells begin to end as lying in no layer
 * @param start logarithm of the prior of the lowest level at a cell, which may be negative
 */
export function stackPosterior(
  stretches: readonly StackStretch[],
  cells: number,
  beyond: number,
  outside: (begin: number, end: number) => number,
  start: (cell: number) => number,
): StackPosterior {
  const places = cells + 2 * beyond + 1;
  const inside = (place: number): number => Math.min(cells, Math.max(0, place - beyond));
  const below = Float64Array.from({ length: places }, (_, p) => start(p - beyond) + outside(0, inside(p)));
  const above = Float64Array.from({ length: places }, (_, p) => outside(inside(p), cells));
  const weights = stretches.map(({ weigh, least, most, expected, sd }) => {
    const row = most - least + 1;
    const list = new Float64Array(places * row).fill(-Infinity);
    for (let begin = 0; begin < places; begin++)
      for (let thick = least; thick <= most && begin + thick < places; thick++) {
        const off = (thick - expected) / sd;
        list[begin * row + thick - least] =
          weigh(inside(begin), inside(begin + thick)) - (off * off) / 2 - Math.log(sd);
      }
    return list;
  });
  const forward = [below];
  stretches.forEach(({ least, most }, n) => {
    const row = most - least + 1;
    forward.push(
      Float64Array.from({ length: places }, (_, end) => {
        const terms: number[] = [];
        for (let thick = least; thick <= Math.min(most, end); thick++)
          terms.push(forward[n]![end - thick]! + weights[n]![(end - thick) * row + thick - least]!);
        return logSum(terms);
      }),
    );
  });
  const backward: Float64Array[] = [above];
  for (let n = stretches.length - 1; n >= 0; n--) {
    const { least, most } = stretches[n]!;
    const row = most - least + 1;
    const next = backward[0]!;
    backward.unshift(
      Float64Array.from({ length: places }, (_, begin) => {
        const terms: number[] = [];
        for (let thick = least; thick <= most && begin + thick < places; thick++)
          terms.push(next[begin + thick]! + weights[n]![begin * row + thick - least]!);
        return logSum(terms);
      }),
    );
  }
  const evidence = logSum([...forward.at(-1)!].map((v, p) => v + above[p]!));
  const mean = new Float64Array(stretches.length + 1);
  const sd = new Float64Array(stretches.length + 1);
  forward.forEach((list, n) => {
    let [first, second] = [0, 0];
    list.forEach((v, p) => {
      const share = Math.exp(v + backward[n]![p]! - evidence);
      first += share * (p - beyond);
      second += share * (p - beyond) ** 2;
    });
    mean[n] = first;
    sd[n] = Math.sqrt(Math.max(0, second - first * first));
  });
  const at = stretches.map(({ least, most }, n) => {
    const row = most - least + 1;
    // Differences along the depth: each way adds its share from where the stretch begins to where it ends.
    const steps = new Float64Array(places + 1);
    for (let begin = 0; begin < places; begin++) {
      const from = forward[n]![begin]!;
      if (from === -Infinity) continue;
      for (let thick = least; thick <= most && begin + thick < places; thick++) {
        const share = Math.exp(
          from + weights[n]![begin * row + thick - least]! + backward[n + 1]![begin + thick]! - evidence,
        );
        steps[begin]! += share;
        steps[begin + thick]! -= share;
      }
    }
    const out = new Float64Array(cells);
    let running = 0;
    for (let p = 0; p < places; p++) {
      running += steps[p]!;
      const cell = p - beyond;
      if (cell >= 0 && cell < cells) out[cell] = Math.min(1, Math.max(0, running));
    }
    return out;
  });
  return { evidence, at, mean, sd };
}

export function logSum(terms: readonly number[]): number {
  let most = -Infinity;
  for (const t of terms) if (t > most) most = t;
  if (most === -Infinity) return -Infinity;
  let sum = 0;
  for (const t of terms) sum += Math.exp(t - most);
  return most + Math.log(sum);
}
