/** The same drawing written as GDSII and as OASIS gives the same shapes, labels and pixels. */
import { afterAll, describe, expect, it } from 'vitest';
import {
  boundsUm,
  countShapes,
  labelsInWindow,
  shapesInWindow,
} from '../../../pipeline/formats/layout/flatten.ts';
import { readGdsii } from '../../../pipeline/formats/layout/gdsii.ts';
import { readOasis } from '../../../pipeline/formats/layout/oasis.ts';
import { type DrawnLayer, type Layout, referenceAt } from '../../../pipeline/formats/layout.ts';
import { renderCoverage } from '../../../pipeline/kernels/coverage.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { type Box, signedArea } from '../../../shared/polygon.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { writeGdsii } from '../../fixtures/layout/gdsii-writer.ts';
import { flattened, type ModelCell, randomModel } from '../../fixtures/layout/library-model.ts';
import { type WriterOptions, writeOasis } from '../../fixtures/layout/oasis-writer.ts';

const files = scratch();
afterAll(files.remove);

const ALL: Box = [-Infinity, -Infinity, Infinity, Infinity];
const DRAWN = new Set<DrawnLayer>(['1/0', '1/1', '2/0', '2/1', '3/0', '3/1']);

/** A shape as text, whichever vertex it begins with and whichever way round. */
function line(drawn: string, xyUm: Float64Array): string {
  const points = Array.from({ length: xyUm.length / 2 }, (_, n) => [xyUm[2 * n], xyUm[2 * n + 1]]).map(
    ([x, y]) => `${Math.floor(x * 1e6 + 0.137)} ${Math.floor(y * 1e6 + 0.137)}`,
  );
  if (signedArea(xyUm) < 0) points.reverse();
  const first = points.indexOf([...points].sort()[0]);
  return `${drawn} ${[...points.slice(first), ...points.slice(0, first)].join(', ')}`;
}

const shapes = (layout: Layout, window: Box): string[] =>
  [...shapesInWindow(layout, 'TOP', window, DRAWN)].map(({ drawn, xyUm }) => line(drawn, xyUm)).sort();

const labels = (layout: Layout): string[] =>
  [...labelsInWindow(layout, 'TOP', ALL)]
    .map(({ text, drawn, xUm, yUm, cellPath }) => {
      return `${text} ${drawn} ${xUm.toFixed(6)} ${yUm.toFixed(6)} ${cellPath.join('/')}`;
    })
    .sort();

const references = (layout: Layout): string[] =>
  [...layout.cells].flatMap(([name, { references: block }]) =>
    Array.from({ length: block.count }, (_, n) => {
      const { cell, transform, properties, columns, rows } = referenceAt(block, n);
      const map = transform.map((value) => value.toFixed(9)).join(' ');
      return `${name} > ${cell} ${map} ${columns * rows} ${JSON.stringify([...properties])}`;
    }).sort(),
  );

function pixels(layout: Layout, grid: PlateGrid, drawn: DrawnLayer): Float32Array {
  const found = [...shapesInWindow(layout, 'TOP', ALL, new Set([drawn]))].map(({ xyUm }) => xyUm);
  return renderCoverage(found, grid);
}

async function bothForms(model: readonly ModelCell[], options: WriterOptions): Promise<[Layout, Layout]> {
  const gdsii = await readGdsii(files.write('twin.gds', writeGdsii(model)));
  const oasis = await readOasis(files.write('twin.oas', writeOasis(model, options)));
  return [gdsii, oasis];
}

const WAYS: [string, Omit<WriterOptions, 'seed'>][] = [
  ['names in place', { tables: 'none', isExplicit: false, offsets: 'end', isStrict: false, validation: 0 }],
  [
    'tables before, implicit',
    { tables: 'before', isExplicit: false, offsets: 'start', isStrict: true, validation: 1 },
  ],
  [
    'tables after, implicit',
    { tables: 'after', isExplicit: false, offsets: 'end', isStrict: true, validation: 2 },
  ],
  [
    'tables before, explicit',
    { tables: 'before', isExplicit: true, offsets: 'end', isStrict: false, validation: 1 },
  ],
  [
    'tables after, explicit',
    { tables: 'after', isExplicit: true, offsets: 'start', isStrict: false, validation: 2 },
  ],
];

describe.each(WAYS)('one drawing in both forms: %s', (_, way) => {
  it.each([1, 2])('gives the same shapes, labels and references (seed %i)', async (seed) => {
    const angles = seed % 2 === 0 ? [0, 90, 180, 270] : [0, 90, 30, -17.25, 45];
    const model = randomModel({ seed, angles, magnifications: [1, 1, 0.5, 2.5], levels: 3 });
    const [gdsii, oasis] = await bothForms(model, { seed: 100 + seed, ...way });
    expect(oasis.notes.filter((note) => note.includes('The file states'))).toEqual([]);
    expect(oasis.topCells).toEqual(gdsii.topCells);
    expect([...oasis.cells.keys()]).toEqual([...gdsii.cells.keys()]);
    const expected = shapes(gdsii, ALL);
    expect(expected.length).toBeGreaterThan(500);
    expect(shapes(oasis, ALL)).toEqual(expected);
    expect(labels(oasis)).toEqual(labels(gdsii));
    expect(references(oasis)).toEqual(references(gdsii));
    const counts = (layout: Layout) => [...countShapes(layout, 'TOP')].sort();
    expect(counts(oasis)).toEqual(counts(gdsii));
    const [a, b] = [boundsUm(oasis, 'TOP'), boundsUm(gdsii, 'TOP')];
    for (let n = 0; n < 4; n++) expect(a[n]).toBeCloseTo(b[n], 6);
    if (seed % 2 === 1) return;
    // Where references keep the axes, a window asks for the very shapes whose boxes meet it.
    for (let n = 0; n < 12; n++) {
      const x = -12 + 2.1 * n;
      const y = -9 + 1.3 * n;
      const window: Box = [x, y, x + 0.3 * (n + 1), y + 0.2 * (n + 1)];
      expect(shapes(oasis, window)).toEqual(shapes(gdsii, window));
    }
  });
});

describe('pixels', () => {
  it.each([
    ['hierarchical', (model: ModelCell[]) => model],
    ['flat', (model: ModelCell[]) => flattened(model)],
  ])('of a %s drawing are the same in both forms', async (_, shaped) => {
    const model = shaped(
      randomModel({ seed: 7, angles: [0, 90, 180, 270], magnifications: [1, 2], levels: 3 }),
    );
    const [gdsii, oasis] = await bothForms(model, { seed: 8, ...WAYS[2][1] });
    const grid: PlateGrid = { origin_um: [-18, 18], pixel_um: 0.12, width_px: 300, height_px: 300 };
    for (const drawn of DRAWN) {
      const [a, b] = [pixels(gdsii, grid, drawn), pixels(oasis, grid, drawn)];
      expect(a.reduce((sum, share) => sum + share, 0)).toBeGreaterThan(10);
      // The formats begin a rectangle at different corners, which may turn the last bit of a 32-bit share.
      let most = 0;
      for (let n = 0; n < a.length; n++) most = Math.max(most, Math.abs(a[n] - b[n]));
      expect(most).toBeLessThanOrEqual(2 ** -23);
      const grey = (shares: Float32Array) => Buffer.from(shares.map((share) => Math.round(255 * share)));
      expect(grey(b).equals(grey(a))).toBe(true);
    }
  });
});
