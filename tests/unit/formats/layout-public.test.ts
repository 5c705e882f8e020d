/** What is left of a layout when layers, cells and regions are withheld. The oracle opens out everything and looks. */
import { describe, expect, it } from 'vitest';
import { labelsInWindow, shapesInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import { publicLayout } from '../../../pipeline/formats/layout/public-layout.ts';
import type { DrawnLayer, FlatShape, Layout } from '../../../pipeline/formats/layout.ts';
import { type Box, boxesMeet, windingNumber } from '../../../shared/polygon.ts';
import { randomNumbers } from '../../fixtures/layout/gdsii-random.ts';
import { randomModel } from '../../fixtures/layout/library-model.ts';
import { drawLayout, drawModel, L, WIDE } from '../../fixtures/nets/draw-layout.ts';

const NONE = { drawn: new Set<string>(), cells: new Set<string>(), regionsUm: [] };
const LAYERS = new Set(['1/0', '1/1', '2/0', '2/1', '3/0', '3/1'] as DrawnLayer[]);

const isDrawn = (shapes: readonly FlatShape[], drawn: string, x: number, y: number) =>
  shapes.some(
    ({ drawn: own, boxUm, xyUm }) =>
      own === drawn && boxesMeet(boxUm, [x, y, x, y]) && windingNumber(xyUm, x, y) !== 0,
  );

function compare(whole: Layout, shown: Layout, regions: readonly Box[], seed: number): void {
  const before = [...shapesInWindow(whole, 'TOP', WIDE, LAYERS)];
  const after = [...shapesInWindow(shown, 'TOP', WIDE, LAYERS)];
  const below = randomNumbers(seed);
  let hits = 0;
  for (let n = 0; n < 400; n++) {
    // Half of the places lie round a region, between whole units so that none lies on an edge.
    const [x0, y0, x1, y1] = n % 2 ? regions[n % regions.length]! : [-18, -18, 18, 18];
    const x = x0 - 0.3 + (x1 - x0 + 0.6) * (below(100_003) / 100_003) + 1.37e-6;
    const y = y0 - 0.3 + (y1 - y0 + 0.6) * (below(100_003) / 100_003) + 1.37e-6;
    const inside = regions.some((r) => x > r[0] && x < r[2] && y > r[1] && y < r[3]);
    for (const drawn of LAYERS) {
      const was = isDrawn(before, drawn, x, y);
      if (was) hits++;
      expect(isDrawn(after, drawn, x, y), `${drawn} at ${x}, ${y}`).toBe(was && !inside);
    }
  }
  expect(hits).toBeGreaterThan(20);
}

describe('regions', () => {
  it.each([1, 2, 3])('are empty, and all else is as it was (random layout %i)', async (seed) => {
    const model = randomModel({ seed, angles: [0, 90, 180, 270], magnifications: [1, 2], levels: 2 });
    const whole = await drawModel(model);
    const regions: Box[] = [
      [-4.001, -3, 1.5, 2.25],
      [0.5, 1, 6, 4],
      [-12, 5, -9.5, 13],
    ];
    const shown = publicLayout(whole, 'TOP', { ...NONE, regionsUm: regions });
    compare(whole, shown, regions, seed);
    const labels = (layout: Layout) =>
      [...labelsInWindow(layout, 'TOP', WIDE)].map(({ text, xUm, yUm }) => `${text} ${xUm} ${yUm}`).sort();
    expect(labels(shown)).toEqual(
      labels(whole).filter((line) => {
        const [, x, y] = line.split(' ').map(Number) as [number, number, number];
        return !regions.some((r) => x >= r[0] && x <= r[2] && y >= r[1] && y <= r[3]);
      }),
    );
  });

  it('leave a layout that they do not meet as it is', async () => {
    const whole = await drawLayout([{ name: 'TOP', boxes: [[L.metal1, 0, 0, 100, 100]] }]);
    const shown = publicLayout(whole, 'TOP', { ...NONE, regionsUm: [[5, 5, 6, 6]] });
    const boxes = [...shapesInWindow(shown, 'TOP', WIDE, new Set<DrawnLayer>(['1/0']))].map((s) => s.boxUm);
    expect(boxes).toEqual([[0, 0, 0.1, 0.1]]);
  });
});

describe('cells and drawn layers', () => {
  const cells = [
    { name: 'LEAF', boxes: [[L.metal1, 0, 0, 10, 10]] as const, labels: [['leaf', L.metal1, 5, 5]] as const },
    { name: 'VENDOR_A', references: [['LEAF', 0, 0]] as const, boxes: [[L.metal2, 0, 0, 9, 9]] as const },
    {
      name: 'TOP',
      references: [['VENDOR_A', 0, 0] as const, ['VENDOR_A', 500, 0] as const],
      boxes: [
        [L.metal1, 1000, 0, 1100, 100],
        [L.metal2, 1000, 0, 1100, 100],
      ] as const,
      labels: [['out', L.metal1, 1050, 50]] as const,
    },
  ];
  it('are gone with their names, their labels and the cells that only they use', async () => {
    const whole = await drawLayout(cells);
    const shown = publicLayout(whole, 'TOP', { ...NONE, cells: new Set(['VENDOR_A']) });
    expect([...shown.cells.keys()]).toEqual(['TOP']);
    expect([...labelsInWindow(shown, 'TOP', WIDE)].map(({ text }) => text)).toEqual(['out']);
    expect([...shapesInWindow(shown, 'TOP', WIDE, new Set<DrawnLayer>(['1/0', '3/0']))]).toHaveLength(2);
  });
  it('layers are gone everywhere', async () => {
    const whole = await drawLayout(cells);
    const shown = publicLayout(whole, 'TOP', { ...NONE, drawn: new Set(['3/0', '1/9']) });
    expect([...shapesInWindow(shown, 'TOP', WIDE, new Set<DrawnLayer>(['1/0', '3/0']))]).toHaveLength(3);
    expect([...labelsInWindow(shown, 'TOP', WIDE)]).toEqual([]);
  });
});
