/**
 * Monotone assignment of the levels of a stack to cells of height: the cheapest of all ways to cut the depth into the
 * stretches of the stack, in order, each of an allowed thickness.
 */

export interface StretchCosts {
  /** Cost of a cell when it lies in this stretch, against lying in none; the scan's cells first to last. */
  readonly cells: Float64Array;
  /** Fewest and most cells, both at least 0. */
  readonly least: number;
  readonly most: number;
  /** Expected number of cells and its standard deviation. */
  readonly expected: number;
  readonly sd: number;
}

export interface Assignment {
  /** Cell in front of which each level lies, one more than there are stretches. */
  readonly levels: readonly number[];
  readonly cost: number;
}

/**
 * Dynamic programming over levels and cells; `tests/oracles/heights-assign.test.ts` tries every way instead.
 * @param start cost of the lowest level for every cell; Infinity forbids
 * @returns null where no way is allowed
 */
export function assignLevels(stretches: readonly StretchCosts[], start: Float64Array): Assignment | null {
  const places = start.length;
  let reached = Float64Array.from(start);
  const from: Int32Array[] = [];
  for (const { cells, least, most, expected, sd } of stretches) {
    const sums = new Float64Array(places);
    for (let p = 1; p < places; p++) sums[p] = sums[p - 1]! + (cells[p - 1] ?? 0);
    const next = new Float64Array(places).fill(Infinity);
    const back = new Int32Array(places).fill(-1);
    for (let end = 0; end < places; end++)
      for (let thick = least; thick <= Math.min(most, end); thick++) {
        const begin = end - thick;
        const before = reached[begin]!;
        if (before === Infinity) continue;
        const off = (thick - expected) / sd;
        const cost = before + sums[end]! - sums[begin]! + (off * off) / 2;
        if (cost < next[end]!) {
          next[end] = cost;
          back[end] = begin;
        }
      }
    reached = next;
    from.push(back);
  }
  let best = 0;
  for (let p = 1; p < places; p++) if (reached[p]! < reached[best]!) best = p;
  if (reached[best] === Infinity) return null;
  const levels = [best];
  for (let n = stretches.length - 1; n >= 0; n--) levels.unshift(from[n]![levels[0]!]!);
  return { levels, cost: reached[best]! };
}
