/** The stack laid into the depth: dynamic programming against trying every way there is. */
import { describe, expect, it } from 'vitest';
import { assignLevels, type StretchCosts } from '../../pipeline/stages/place/heights/assign.ts';
import { type StackStretch, stackPosterior } from '../../pipeline/stages/place/texture/posterior.ts';
import { generator } from '../fixtures/random.ts';

/** Every rising list of levels whose gaps are allowed, within places first to last. */
function* ways(
  gaps: readonly { least: number; most: number }[],
  first: number,
  last: number,
): Generator<number[]> {
  function* go(levels: number[]): Generator<number[]> {
    const gap = gaps[levels.length - 1];
    if (!gap) {
      yield levels;
      return;
    }
    for (let thick = gap.least; thick <= gap.most; thick++) {
      const next = levels.at(-1)! + thick;
      if (next <= last) yield* go([...levels, next]);
    }
  }
  for (let start = first; start <= last; start++) yield* go([start]);
}

const lag = (thick: number, expected: number, sd: number): number => ((thick - expected) / sd) ** 2 / 2;

describe('the cheapest assignment', () => {
  it('is the cheapest of all ways, over many small cases', () => {
    const random = generator(11);
    for (let trial = 0; trial < 150; trial++) {
      const cells = 6 + Math.floor(random() * 6);
      const stretches = Array.from({ length: 1 + Math.floor(random() * 3) }, (): StretchCosts => {
        const least = Math.floor(random() * 3);
        return {
          cells: Float64Array.from({ length: cells }, () => 4 * random() - 2),
          ...{ least, most: least + Math.floor(random() * 4), expected: 4 * random(), sd: 0.5 + random() },
        };
      });
      const start = Float64Array.from({ length: cells + 1 }, () =>
        random() < 0.1 ? Infinity : 2 * random(),
      );
      let cheapest = Infinity;
      for (const levels of ways(stretches, 0, cells)) {
        let cost = start[levels[0]!]!;
        stretches.forEach((s, n) => {
          for (let cell = levels[n]!; cell < levels[n + 1]!; cell++) cost += s.cells[cell]!;
          cost += lag(levels[n + 1]! - levels[n]!, s.expected, s.sd);
        });
        cheapest = Math.min(cheapest, cost);
      }
      const found = assignLevels(stretches, start);
      if (cheapest === Infinity) expect(found).toBeNull();
      else expect(found!.cost).toBeCloseTo(cheapest, 9);
      // The levels it names cost what it says.
      if (found) {
        let cost = start[found.levels[0]!]!;
        stretches.forEach((s, n) => {
          for (let cell = found.levels[n]!; cell < found.levels[n + 1]!; cell++) cost += s.cells[cell]!;
          cost += lag(found.levels[n + 1]! - found.levels[n]!, s.expected, s.sd);
        });
        expect(cost).toBeCloseTo(found.cost, 9);
      }
    }
  });
});

describe('the probabilities of all assignments', () => {
  it('are sums over all ways, over many small cases', () => {
    const random = generator(12);
    for (let trial = 0; trial < 60; trial++) {
      const cells = 4 + Math.floor(random() * 4);
      const beyond = Math.floor(random() * 4);
      const tables = Array.from({ length: 1 + Math.floor(random() * 3) }, () => ({
        values: Float64Array.from({ length: cells }, () => 3 * random() - 1.5),
        least: Math.floor(random() * 2),
        most: 1 + Math.floor(random() * 3),
        expected: 3 * random(),
        sd: 0.5 + random(),
      }));
      const sum = (values: Float64Array, begin: number, end: number): number =>
        values.slice(begin, end).reduce((total, v) => total + v, 0);
      const stretches = tables.map(
        (t): StackStretch => ({ ...t, weigh: (begin, end) => sum(t.values, begin, end) }),
      );
      const gap = Float64Array.from({ length: cells }, () => random() - 0.5);
      const start = (cell: number): number => -0.1 * cell;
      const found = stackPosterior(stretches, cells, beyond, (b, e) => sum(gap, b, e), start);
      const inside = (place: number): number => Math.min(cells, Math.max(0, place));
      let total = 0;
      const at = tables.map(() => new Float64Array(cells));
      const mean = new Float64Array(tables.length + 1);
      for (const levels of ways(tables, -beyond, cells + beyond)) {
        let log =
          start(levels[0]!) + sum(gap, 0, inside(levels[0]!)) + sum(gap, inside(levels.at(-1)!), cells);
        tables.forEach((t, n) => {
          log += sum(t.values, inside(levels[n]!), inside(levels[n + 1]!));
          log -= lag(levels[n + 1]! - levels[n]!, t.expected, t.sd) + Math.log(t.sd);
        });
        const share = Math.exp(log);
        total += share;
        tables.forEach((_, n) => {
          for (let cell = inside(levels[n]!); cell < inside(levels[n + 1]!); cell++) at[n]![cell]! += share;
        });
        levels.forEach((level, n) => {
          mean[n]! += share * level;
        });
      }
      expect(found.evidence).toBeCloseTo(Math.log(total), 9);
      at.forEach((list, n) => {
        list.forEach((v, cell) => expect(found.at[n]![cell]!).toBeCloseTo(v / total, 9));
      });
      mean.forEach((v, n) => expect(found.mean[n]!).toBeCloseTo(v / total, 8));
    }
  });
});
