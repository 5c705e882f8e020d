/** Window queries against a layout opened out completely. */
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  boundsUm,
  cellInstancesInWindow,
  countShapes,
  labelsInWindow,
  shapesInWindow,
  visitShapesInWindow,
} from '../../../pipeline/formats/layout/flatten.ts';
import { readGdsii } from '../../../pipeline/formats/layout/gdsii.ts';
import type { DrawnLayer, Layout } from '../../../pipeline/formats/layout.ts';
import { type Box, boxesMeet, EMPTY_BOX, isEmptyBox, polygonBox, unionBox } from '../../../shared/polygon.ts';
import { library, scratch, structure } from '../../fixtures/layout/gdsii-bytes.ts';
import { REAL8, rectangle, sref, TEXT, TURNED_AREF, wire } from '../../fixtures/layout/gdsii-elements.ts';
import { randomLibrary, randomNumbers } from '../../fixtures/layout/gdsii-random.ts';
import { REAL_FILES_MISSING, realFile } from '../../fixtures/layout/real-files.ts';
import { flattenWholly, type PlainLayout, touchesWindow } from '../../oracles/layout-flatten.ts';

const files = scratch();
afterAll(files.remove);

const ALL: Box = [-Infinity, -Infinity, Infinity, Infinity];

/** Rounded far below the drawing grid, and not at halves, where quarter magnifications lie. */
const rounded = (value: number): number => Math.floor(value * 1e6 + 0.137);
const line = (drawn: string, xy: ArrayLike<number>): string =>
  `${drawn} ${Array.from(xy, rounded).join(' ')}`;

function checkWindow(
  layout: Layout,
  top: string,
  plain: PlainLayout,
  window: Box,
  drawn: Set<DrawnLayer>,
  keepsAxes: boolean,
): number {
  const allowed = plain.shapes.filter((shape) => drawn.has(shape.drawn) && boxesMeet(shape.boxUm, window));
  const found: string[] = [];
  let wrongBoxes = 0;
  for (const shape of shapesInWindow(layout, top, window, drawn)) {
    found.push(line(shape.drawn, shape.xyUm));
    if (shape.boxUm.join() !== polygonBox(shape.xyUm).join()) wrongBoxes++;
  }
  expect(wrongBoxes).toBe(0);
  const visited: string[] = [];
  visitShapesInWindow(layout, top, window, drawn, (layer, xyUm, vertices) => {
    visited.push(line(layer, xyUm.subarray(0, 2 * vertices)));
  });
  expect(visited).toEqual(found);
  // Everything that touches the window, nothing whose box does not, nothing twice. Below a free angle a shape may be
  // left out whose box meets the window though the shape itself does not.
  const left = new Map<string, number>();
  for (const text of found) left.set(text, (left.get(text) ?? 0) + 1);
  const missing: string[] = [];
  for (const shape of allowed) {
    const text = line(shape.drawn, shape.xyUm);
    const count = left.get(text) ?? 0;
    if (count > 0) left.set(text, count - 1);
    else if (keepsAxes || touchesWindow(shape.xyUm, window)) missing.push(text);
  }
  expect(missing).toEqual([]);
  expect([...left].filter(([, count]) => count > 0)).toEqual([]);

  const labels = [...labelsInWindow(layout, top, window)].map((label) =>
    line(`${label.drawn} ${label.text} ${label.cellPath.join('/')}`, [label.xUm, label.yUm]),
  );
  const wantedLabels = plain.labels
    .filter(({ xUm, yUm }) => boxesMeet([xUm, yUm, xUm, yUm], window))
    .map((label) => line(`${label.drawn} ${label.text} ${label.cellPath}`, [label.xUm, label.yUm]));
  expect(labels.sort()).toEqual(wantedLabels.sort());
  return found.length;
}

function randomWindow(below: (n: number) => number, bounds: Box): Box {
  const at = (low: number, high: number) => low - 0.5 + ((high - low + 1) * (below(1e6) + 0.5)) / 1e6;
  const size = 10 ** (-3 + below(5)) * (1 + below(9));
  const x = at(bounds[0], bounds[2]);
  const y = at(bounds[1], bounds[3]);
  return [x, y, x + size, y + size / (1 + below(4))];
}

const plainBounds = (plain: PlainLayout, drawn?: Set<DrawnLayer>): Box => {
  let box: Box = EMPTY_BOX;
  for (const shape of plain.shapes) {
    if (drawn === undefined || drawn.has(shape.drawn)) box = unionBox(box, shape.boxUm);
  }
  return box;
};

const RIGHT_ANGLES = [0, 90, 180, 270];
const base = { levels: 4, references: 3, topReferences: 60, topShapes: 150 };

describe.each([
  ['right angles', { ...base, seed: 11, angles: RIGHT_ANGLES, magnifications: [1] }],
  [
    'right angles and magnification',
    { ...base, seed: 12, angles: RIGHT_ANGLES, magnifications: [1, 0.5, 2, 3] },
  ],
  ['free angles', { ...base, seed: 13, angles: [0, 30, 45, -17.5, 123.25], magnifications: [1] }],
  [
    'everything, many levels',
    {
      seed: 14,
      levels: 7,
      references: 2,
      topReferences: 20,
      topShapes: 10,
      angles: [0, 90, 30, 211],
      magnifications: [1, 1, 0.25, 1.5],
    },
  ],
  [
    'few of each',
    {
      seed: 15,
      levels: 2,
      references: 1,
      topReferences: 3,
      topShapes: 3,
      angles: [0, 270, 10],
      magnifications: [1, 2],
    },
  ],
])('random library: %s', (_, options) => {
  let layout: Layout;
  let plain: PlainLayout;
  beforeAll(async () => {
    layout = await readGdsii(files.write(`random-${options.seed}.gds`, randomLibrary(options)));
    plain = flattenWholly(layout, 'TOP');
  });

  it('shapes and labels of 40 windows are those of the opened-out layout', () => {
    const below = randomNumbers(options.seed + 100);
    const bounds = boundsUm(layout, 'TOP');
    const keepsAxes = options.angles.every((angle) => angle % 90 === 0);
    const layers: DrawnLayer[] = ['1/0', '2/0', '3/0'];
    let found = 0;
    for (let n = 0; n < 40; n++) {
      const drawn = new Set(n % 3 === 0 ? layers : [layers[below(3)]]);
      found += checkWindow(layout, 'TOP', plain, randomWindow(below, bounds), drawn, keepsAxes);
    }
    found += checkWindow(layout, 'TOP', plain, ALL, new Set(layers), keepsAxes);
    expect(found).toBeGreaterThan(plain.shapes.length);
  });

  it('the bounding box is the true one, of all drawn layers and of each', () => {
    for (const drawn of [undefined, new Set<DrawnLayer>(['1/0']), new Set<DrawnLayer>(['2/0', '3/0'])]) {
      const wanted = plainBounds(plain, drawn);
      boundsUm(layout, 'TOP', drawn).forEach((value, n) => {
        expect(value).toBeCloseTo(wanted[n], 8);
      });
    }
  });

  it('counts are those of the opened-out layout', () => {
    const wanted = new Map<string, number>();
    for (const { drawn } of plain.shapes) wanted.set(drawn, (wanted.get(drawn) ?? 0) + 1);
    const counts = countShapes(layout, 'TOP');
    expect(new Map([...counts].map(([drawn, { flat }]) => [drawn, flat]))).toEqual(wanted);
  });

  it('placed cells are those of the opened-out layout, and their boxes hold their shapes', () => {
    const instances = [...cellInstancesInWindow(layout, 'TOP', ALL)];
    expect(instances.map(({ cellPath }) => cellPath.join('/')).sort()).toEqual([...plain.placements].sort());
  });
});

describe('window queries, worked by hand', () => {
  const read = (structures: string) => readGdsii(files.write('hand.gds', library(structures)));
  const LEAF = structure('LEAF', rectangle());
  const LAYER = new Set<DrawnLayer>(['1/0']);
  const shapes = (layout: Layout, window: Box = ALL, drawn = LAYER) =>
    [...shapesInWindow(layout, 'TOP', window, drawn)].map(({ xyUm }) => [...xyUm]);

  it('right-angled placements land exactly on the grid', async () => {
    // LEAF is 100 x 50 nm. Reflected, then turned by 90 degrees: (x, y) goes to (y, x); at (1, 2) um.
    const layout = await read(LEAF + structure('TOP', TURNED_AREF));
    const found = shapes(layout);
    expect(found).toHaveLength(6);
    expect(found[0]).toEqual([1, 2, 1, 2.1, 1.05, 2.1, 1.05, 2]);
    expect(found.at(-1)).toEqual([0.8, 2.6, 0.8, 2.7, 0.85, 2.7, 0.85, 2.6]);
    expect(boundsUm(layout, 'TOP')).toEqual([0.8, 2, 1.05, 2.7]);
  });

  it('a window that touches an edge meets the shape, one beside it does not', async () => {
    const layout = await read(LEAF + structure('TOP', TURNED_AREF));
    expect(shapes(layout, [1.05, 2, 2, 2.1])).toHaveLength(1);
    expect(shapes(layout, [1.0501, 2, 2, 2.1])).toHaveLength(0);
    expect(shapes(layout, [0.9, 2.1, 0.9, 2.1])).toHaveLength(0);
  });

  it('an absolute width stays under magnification while the line grows', async () => {
    const wires = structure('LEAF', wire('0002', 'FFFFFF9C') + wire('0002'));
    const layout = await read(wires + structure('TOP', sref('LEAF', { strans: '0000', mag: REAL8.two })));
    const drawn = new Set<DrawnLayer>(['21/0']);
    const boxes = shapes(layout, ALL, drawn).map(polygonBox);
    expect(boxes).toEqual([
      [-0.05, -0.05, 2.05, 0.05],
      [-0.1, -0.1, 2.1, 0.1],
    ]);
    expect(boundsUm(layout, 'TOP')).toEqual([-0.1, -0.1, 2.1, 0.1]);
    expect(boundsUm(layout, 'LEAF')).toEqual([-0.05, -0.05, 1.05, 0.05]);
  });

  it('labels do not widen the bounding box', async () => {
    const layout = await read(structure('TOP', rectangle() + TEXT));
    expect(boundsUm(layout, 'TOP')).toEqual([0, 0, 0.1, 0.05]);
    expect([...labelsInWindow(layout, 'TOP', ALL)]).toEqual([
      { text: 'clk', drawn: '21/9', xUm: 0.01, yUm: -0.02, cellPath: ['TOP'] },
    ]);
    expect([...labelsInWindow(layout, 'TOP', ALL, LAYER)]).toEqual([]);
  });

  it('gives nothing for a layer without shapes and for a layout without any', async () => {
    const layout = await read(structure('TOP', TEXT));
    expect(shapes(layout)).toEqual([]);
    expect(isEmptyBox(boundsUm(layout, 'TOP'))).toBe(true);
    expect([...cellInstancesInWindow(layout, 'TOP', ALL)]).toEqual([]);
  });

  it('leaves cells closed that it is told not to open', async () => {
    const layout = await read(
      LEAF + structure('OPEN', rectangle()) + structure('TOP', sref('LEAF') + sref('OPEN')),
    );
    const opens = (cell: string) => cell !== 'LEAF';
    expect([...shapesInWindow(layout, 'TOP', ALL, LAYER, { opens })]).toHaveLength(1);
    const names = [...cellInstancesInWindow(layout, 'TOP', ALL, { opens })].map(({ cell }) => cell);
    expect(names).toEqual(['TOP', 'OPEN']);
  });

  it('opens a huge array only where the window is', async () => {
    // 32767 x 32767 members with a pitch of 1 um, nested in itself once more: 10^18 shapes.
    const array = (child: string, pitch: number) => {
      const far = (32767 * pitch).toString(16).padStart(8, '0');
      const area = TURNED_AREF.replace(/00 06 1A 01.*\n/, '')
        .replace(/00 0C 1C 05.*\n/, '')
        .replace(/[0-9A-F]{4} 1206 [0-9A-F]+/i, `0006 1206 ${Buffer.from(`${child}\0`).toString('hex')}`)
        .replace('0003 0002', '7FFF 7FFF')
        .replace(
          /00 1C 10 03[\s\S]*?(?=00 04 11 00)/,
          `00 1C 10 03 0000000000000000 ${far}00000000 00000000${far}\n`,
        );
      return area;
    };
    const layout = await read(
      structure('A', rectangle()) + structure('B', array('A', 1000)) + structure('TOP', array('B', 7)),
    );
    expect(countShapes(layout, 'TOP').get('1/0')).toEqual({ stored: 1, flat: 32767 ** 4 });
    // Column 0 of both arrays alone reaches x = 0.05; upwards, rows of B at 7 nm and of A at 1 um.
    const window: Box = [-1, -1, 0.0005, 0.0005];
    expect(shapes(layout, window)).toEqual([[0, 0, 0.1, 0, 0.1, 0.05, 0, 0.05]]);
    expect(boundsUm(layout, 'TOP')[2]).toBeCloseTo((32766 * 1000 + 32766 * 7 + 100) / 1000, 9);
  });

  it('names a cell that is not there', async () => {
    const layout = await read(structure('TOP', rectangle()));
    expect(() => boundsUm(layout, 'TIP')).toThrow('TIP');
  });
});

describe.each([
  ['sg13g2_counter_board.gds', 30],
  ['sg13g2_sram_256x8.gds', 5],
])(`real file %s${REAL_FILES_MISSING}`, (name, windows) => {
  it.skipIf(REAL_FILES_MISSING !== '')('windows hold what the opened-out layout holds there', async () => {
    const layout = await readGdsii(realFile(name));
    const [top] = layout.topCells;
    const plain = flattenWholly(layout, top);
    const bounds = boundsUm(layout, top);
    const below = randomNumbers(99);
    const drawn = new Set<DrawnLayer>(['1/0', '8/0', '10/0', '19/0', '134/0']);
    let found = 0;
    for (let n = 0; n < windows; n++) {
      found += checkWindow(layout, top, plain, randomWindow(below, bounds), drawn, true);
    }
    expect(found).toBeGreaterThan(100);
  });
});
