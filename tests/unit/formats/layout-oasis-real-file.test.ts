/** A real OASIS file against every number that the README beside it gives. */
import { readFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { boundsUm, countShapes, shapesInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import { OasisParser } from '../../../pipeline/formats/layout/oasis-parser.ts';
import { RECORD } from '../../../pipeline/formats/layout/oasis-records.ts';
import { openLayout } from '../../../pipeline/formats/layout/registry.ts';
import { type DrawnLayer, PATH_ENDS, referenceAt } from '../../../pipeline/formats/layout.ts';
import type { Box } from '../../../shared/polygon.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { REAL_FILES_MISSING, realFile } from '../../fixtures/layout/real-files.ts';
import { flattenWholly } from '../../oracles/layout-flatten.ts';

const FILE = realFile('openebl_bragg_cavity.oas');
const TOP = 'EBeam_LukasChrostowski_BraggMMcavityC';
const ALL: Box = [-Infinity, -Infinity, Infinity, Infinity];

/** Stored shapes, flat shapes, stored labels. */
const LAYERS: [DrawnLayer, number, number, number][] = [
  ['1/0', 138, 372, 0],
  ['1/10', 22, 80, 22],
  ['1/99', 5, 28, 0],
  ['10/0', 24, 288, 5],
  ['68/0', 11, 44, 39],
  ['81/0', 1, 12, 0],
  ['99/0', 1, 1, 0],
  ['998/0', 12, 144, 0],
];

describe.skipIf(REAL_FILES_MISSING !== '')(`openebl_bragg_cavity.oas${REAL_FILES_MISSING}`, () => {
  it('has the records, repetitions and point lists that the README counts', () => {
    const bytes = readFileSync(FILE);
    expect(bytes.length).toBe(9995);
    const parser = new OasisParser(FILE, bytes, bytes.length);
    expect(parser.run(Infinity)).toBe(true);
    const count = (name: keyof typeof RECORD) => parser.recordCounts[RECORD[name]];
    expect(parser.stepsPerUm).toBe(1000);
    expect(count('CBLOCK')).toBe(11);
    expect(count('RECTANGLE')).toBe(15);
    expect(count('POLYGON')).toBe(69);
    expect(count('PATH')).toBe(20);
    expect(count('TEXT')).toBe(66);
    expect(count('PLACEMENT') + count('PLACEMENT_ANY')).toBe(38);
    expect(count('PROPERTY') + count('PROPERTY_REPEAT')).toBe(21);
    expect(count('CELLNAME') + count('CELLNAME_NUMBERED')).toBe(18);
    expect(count('TEXTSTRING') + count('TEXTSTRING_NUMBERED')).toBe(30);
    expect(count('PROPNAME') + count('PROPNAME_NUMBERED')).toBe(5);
    expect(count('PROPSTRING') + count('PROPSTRING_NUMBERED')).toBe(1);
    expect([...parser.repetitionCounts]).toEqual([1, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 25]);
    expect([...parser.pointListCounts]).toEqual([20, 18, 0, 0, 47, 0]);
    expect(parser.extensionSchemes).toBe(11);
  });

  it.each(['as it is', 'packed with gzip'])(
    'has the shapes, labels, cells and extent of the README, %s',
    async (how) => {
      const files = scratch();
      try {
        const file = how === 'as it is' ? FILE : files.write('chip.oas.gz', gzipSync(readFileSync(FILE)));
        const { layout, top } = await openLayout(file);
        expect(top).toBe(TOP);
        expect(layout).toMatchObject({ format: 'oasis', dbuUm: 0.001, bytes: 9995 });
        expect(layout.cells.size).toBe(18);
        // The tables are where END states them: nothing to note but the properties left out.
        expect(layout.notes).toEqual([
          '21 properties of shapes, labels, cells, names and the file, left out.',
        ]);
        const counts = countShapes(layout, top);
        expect([...counts].sort()).toEqual(
          LAYERS.map(([drawn, stored, flat]) => [drawn, { stored, flat }]).sort(),
        );
        expect(boundsUm(layout, top)).toEqual([0, 0, 605, 410]);
        const flat = [...shapesInWindow(layout, top, ALL, new Set(LAYERS.map(([drawn]) => drawn)))];
        expect(flat).toHaveLength(969);
        expect(flattenWholly(layout, top).shapes).toHaveLength(969);
        const labels = [...layout.cells.values()].flatMap((cell) => cell.labels);
        expect(labels).toHaveLength(66);
        for (const [drawn, , , stored] of LAYERS) {
          expect(labels.filter((label) => label.drawn === drawn)).toHaveLength(stored);
        }
        expect(labels.every(({ text }) => text.length > 0)).toBe(true);
        const references = [...layout.cells.values()].flatMap(({ references: block }) =>
          Array.from({ length: block.count }, (_, n) => referenceAt(block, n)),
        );
        // One of the 38 placements has a list of 13 places.
        expect(references).toHaveLength(50);
        expect(references.filter(({ transform }) => transform[0] === 1 && transform[4] === 1)).toHaveLength(
          46,
        );
        expect(references.filter(({ transform }) => transform[0] === -1 && transform[4] === -1)).toHaveLength(
          4,
        );
        const ends = [...layout.cells.values()].flatMap(({ paths }) =>
          [...paths.values()].flatMap((block) => [...block.ends]),
        );
        expect(new Set(ends)).toEqual(new Set([PATH_ENDS.flush]));
      } finally {
        files.remove();
      }
    },
  );

  it('has a deepest placement level of 3', async () => {
    const { layout, top } = await openLayout(FILE);
    const depth = Math.max(
      ...flattenWholly(layout, top).placements.map((path) => path.split('/').length - 1),
    );
    expect(depth).toBe(3);
  });
});
