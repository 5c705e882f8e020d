/** Repeated shapes, kept as arrays, against a layout opened out completely. */
import { afterAll, describe, expect, it } from 'vitest';
import { boundsUm, countShapes, shapesInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import { readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import type { DrawnLayer } from '../../../pipeline/formats/layout.ts';
import { type Box, boxesMeet, EMPTY_BOX, unionBox } from '../../../shared/polygon.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { randomNumbers } from '../../fixtures/layout/gdsii-random.ts';
import { cell, g, oasisFile, s, text, u } from '../../fixtures/layout/oasis-bytes.ts';
import { flattenWholly, touchesWindow } from '../../oracles/layout-flatten.ts';

const files = scratch();
afterAll(files.remove);

const DRAWN = new Set<DrawnLayer>(['1/0', '2/0']);
const line = (drawn: string, xy: ArrayLike<number>) =>
  `${drawn} ${Array.from(xy, (value) => Math.floor(value * 1e6 + 0.137)).join(' ')}`;

/** Arrays of rectangles and wires, some skewed, some on one place, in a cell and in turned and mirrored ones. */
function arrays(seed: number, angles: readonly number[]): Buffer {
  const below = randomNumbers(seed);
  const lattice = () => {
    const step = () => below(900) - 450;
    const columns = below(7);
    const rows = below(7);
    switch (below(4)) {
      case 0:
        return `01 ${u(columns + 2)} ${u(rows + 1)} ${u(below(400))} ${u(below(400))}`;
      case 1:
        return `09 ${u(columns + 9)} ${g(step(), step())}`;
      case 2:
        return `03 ${u(rows + 9)} ${u(below(300))}`;
      default:
        return `08 ${u(columns + 2)} ${u(rows + 1)} ${g(step(), step())} ${g(step(), step())}`;
    }
  };
  const shapes = (count: number, range: number) =>
    Array.from({ length: count }, () => {
      const place = `${s(below(2 * range) - range)} ${s(below(2 * range) - range)}`;
      if (below(3) === 0) {
        return `16 FF 02 00 ${u(5 + below(20))} 0A 00 02 ${s(200)} ${s(below(300) - 150)} ${place} ${lattice()}`;
      }
      return `14 7F 01 00 ${u(1 + below(200))} ${u(1 + below(200))} ${place} ${lattice()}`;
    }).join('\n');
  const placed = Array.from({ length: 8 }, () => {
    const angle = angles[below(angles.length)];
    const place = `${s(below(20_000) - 10_000)} ${s(below(20_000) - 10_000)}`;
    return `12 ${below(2) === 0 ? 'B2' : 'B3'} ${text('LEAF')} 00 ${u(angle)} ${place}`;
  });
  return oasisFile(cell('LEAF', shapes(6, 800)) + cell('TOP', shapes(60, 8000) + placed.join(' ')));
}

describe.each([
  ['right angles', [0, 90, 180, 270], true],
  ['free angles', [0, 30, 77, 121], false],
] as const)('arrays below %s', (_, angles, keepsAxes) => {
  it.each([1, 2, 3])('windows, counts and extent are those of the single shapes (seed %i)', async (seed) => {
    const layout = await readOasis(files.write('arrays.oas', arrays(seed, angles)));
    expect(layout.cells.get('TOP')?.arrays.size).toBe(2);
    const plain = flattenWholly(layout, 'TOP').shapes;
    for (const drawn of DRAWN) {
      const count = plain.filter((shape) => shape.drawn === drawn).length;
      expect(countShapes(layout, 'TOP').get(drawn)?.flat).toBe(count);
      expect(count).toBeGreaterThan(300);
    }
    const all = plain.reduce<Box>((box, shape) => unionBox(box, shape.boxUm), EMPTY_BOX);
    boundsUm(layout, 'TOP').forEach((value, n) => {
      expect(value).toBeCloseTo(all[n], 9);
    });
    const below = randomNumbers(90 + seed);
    let foundInAll = 0;
    for (let n = 0; n < 40; n++) {
      const at = (low: number, high: number) => low + ((high - low) * below(1e6)) / 1e6;
      const [x, y] = [at(all[0], all[2]), at(all[1], all[3])];
      const size = 10 ** (below(4) - 2) * (1 + below(9));
      const window: Box = [x, y, x + size, y + size / (1 + below(3))];
      const left = new Map<string, number>();
      for (const { drawn, xyUm } of shapesInWindow(layout, 'TOP', window, DRAWN)) {
        left.set(line(drawn, xyUm), (left.get(line(drawn, xyUm)) ?? 0) + 1);
        foundInAll++;
      }
      const missing: string[] = [];
      for (const { drawn, xyUm, boxUm } of plain) {
        if (!boxesMeet(boxUm, window)) continue;
        const key = line(drawn, xyUm);
        const count = left.get(key) ?? 0;
        if (count > 0) left.set(key, count - 1);
        else if (keepsAxes || touchesWindow(xyUm, window)) missing.push(key);
      }
      expect(missing).toEqual([]);
      expect([...left.values()].filter((count) => count > 0)).toEqual([]);
    }
    expect(foundInAll).toBeGreaterThan(300);
  });
});
