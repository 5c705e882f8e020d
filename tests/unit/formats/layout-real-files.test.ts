/**
 * Real layouts. The numbers come from the README that lies with them (counts by two further readers, boxes and flat
 * counts by a third); every element is compared with GDSIIConvert besides.
 */
import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { boundsUm, countShapes, shapesInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import { readGdsii } from '../../../pipeline/formats/layout/gdsii.ts';
import { openLayout } from '../../../pipeline/formats/layout/registry.ts';
import type { DrawnLayer, Layout } from '../../../pipeline/formats/layout.ts';
import type { Box } from '../../../shared/polygon.ts';
import { scratch } from '../../fixtures/layout/gdsii-bytes.ts';
import { randomLibrary } from '../../fixtures/layout/gdsii-random.ts';
import { REAL_FILES_MISSING, realFile } from '../../fixtures/layout/real-files.ts';
import {
  linesOfLayout,
  linesOfSecondReader,
  SECOND_READER_MISSING,
} from '../../oracles/gdsii-second-reader.ts';

/** What the README says of a file. */
interface Described {
  readonly shapes: Map<string, { stored: number; flat: number }>;
  readonly labels: Map<string, number>;
  readonly boxUm: number[];
  readonly text: string;
}

function described(name: string): Described {
  const readme = existsSync(realFile('README.md')) ? readFileSync(realFile('README.md'), 'utf8') : '';
  const text =
    readme.split(/^## /m).find((section) => section.includes(`\`${name}\``) && /^\d/.test(section)) ?? '';
  const number = (cell: string) => Number(cell.replace(/[\s\u00a0\u202f]/g, ''));
  const shapes = new Map<string, { stored: number; flat: number }>();
  const labels = new Map<string, number>();
  for (const [, drawn, stored, flat, texts] of text.matchAll(
    /^\| (\d+\/\d+) \|[^|]*\|([^|]*)\|([^|]*)\|([^|]*)\|/gm,
  )) {
    if (number(stored) > 0) shapes.set(drawn, { stored: number(stored), flat: number(flat) });
    if (number(texts) > 0) labels.set(drawn, number(texts));
  }
  const box = /bounding box x (-?[\d.]+) … (-?[\d.]+), y (-?[\d.]+) … (-?[\d.]+)/.exec(text);
  const [x0, x1, y0, y1] = (box ?? []).slice(1).map(Number);
  return { shapes, labels, boxUm: [x0, y0, x1, y1], text };
}

const ALL: Box = [-Infinity, -Infinity, Infinity, Infinity];
const byName = <T>(map: Iterable<readonly [string, T]>): [string, T][] =>
  [...map].map(([key, value]): [string, T] => [key, value]).sort(([a], [b]) => (a < b ? -1 : 1));

function storedLabels(layout: Layout): Map<string, number> {
  const labels = new Map<string, number>();
  for (const cell of layout.cells.values()) {
    for (const { drawn } of cell.labels) labels.set(drawn, (labels.get(drawn) ?? 0) + 1);
  }
  return labels;
}

describe.each([
  ['sg13g2_counter_board.gds', 33, 655, 29],
  ['gf180_w_io.gds', 29, 1596, 20],
  ['sg13g2_sram_256x8.gds', 127, 1521, 22],
])(`%s${REAL_FILES_MISSING}`, (name, cells, references, layers) => {
  const given = described(name);

  it.skipIf(REAL_FILES_MISSING !== '')(
    'counts, labels and extent are those of the other readers',
    async () => {
      const { layout, top } = await openLayout(realFile(name));
      expect(layout.cells.size).toBe(cells);
      expect([...layout.cells.values()].reduce((sum, cell) => sum + cell.references.count, 0)).toBe(
        references,
      );
      expect(given.shapes.size).toBe(layers);
      expect(given.text).toContain(`\`${top}\``);
      expect(layout.dbuUm).toBe(0.001);
      expect(byName(countShapes(layout, top))).toEqual(byName(given.shapes));
      expect(byName(storedLabels(layout))).toEqual(byName(given.labels));
      expect(boundsUm(layout, top)).toEqual(given.boxUm);
    },
  );

  it.skipIf(REAL_FILES_MISSING !== '')('opening everything out gives the flat counts', async () => {
    const { layout, top } = await openLayout(realFile(name));
    const drawn = new Set(given.shapes.keys()) as Set<DrawnLayer>;
    const flat = new Map<string, number>();
    for (const shape of shapesInWindow(layout, top, ALL, drawn)) {
      flat.set(shape.drawn, (flat.get(shape.drawn) ?? 0) + 1);
    }
    expect(byName(flat)).toEqual(byName(given.shapes).map(([key, { flat: count }]) => [key, count]));
  });

  it.skipIf(REAL_FILES_MISSING !== '' || SECOND_READER_MISSING !== '')(
    `every element is as GDSIIConvert reads it${SECOND_READER_MISSING}`,
    async () => {
      const ours = linesOfLayout(await readGdsii(realFile(name)));
      const theirs = linesOfSecondReader(realFile(name));
      expect([...ours.keys()].sort()).toEqual([...theirs.keys()].sort());
      const differing = [...ours].filter(
        ([cell, lines]) => lines.join('\n') !== theirs.get(cell)?.join('\n'),
      );
      expect(differing).toEqual([]);
      const elements = [...theirs.values()].reduce((sum, lines) => sum + lines.length, 0);
      expect(elements).toBeGreaterThan(2000);
    },
    60_000,
  );
});

describe('generated libraries', () => {
  it.skipIf(SECOND_READER_MISSING !== '')(
    `GDSIIConvert reads the same elements from a random library${SECOND_READER_MISSING}`,
    async () => {
      const files = scratch();
      try {
        for (const seed of [1, 2, 3]) {
          const options = { seed, levels: 4, references: 3, topReferences: 20, topShapes: 20 };
          const bytes = randomLibrary({
            ...options,
            angles: [0, 90, 30.5, -17.25],
            magnifications: [1, 0.5, 3],
          });
          const file = files.write(`random-${seed}.gds`, bytes);
          expect(linesOfLayout(await readGdsii(file))).toEqual(linesOfSecondReader(file));
        }
      } finally {
        files.remove();
      }
    },
    60_000,
  );
});
