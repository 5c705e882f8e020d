/** Damaged GDSII files: each is read or refused with one InputFault, in bounded time, memory and stack. */
import { afterAll, describe, expect, it } from 'vitest';
import {
  boundsUm,
  cellInstancesInWindow,
  countShapes,
  labelsInWindow,
  shapesInWindow,
} from '../../../pipeline/formats/layout/flatten.ts';
import { readGdsii } from '../../../pipeline/formats/layout/gdsii.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { Box } from '../../../shared/polygon.ts';
import { library, scratch, structure } from '../../fixtures/layout/gdsii-bytes.ts';
import { EVERY_ELEMENT, REAL8, rectangle, sref } from '../../fixtures/layout/gdsii-elements.ts';
import { randomLibrary, randomNumbers } from '../../fixtures/layout/gdsii-random.ts';

const files = scratch();
afterAll(files.remove);

const WINDOW: Box = [-1, -1, 1, 1];

/** Reads and asks; gives what became of it. Anything but a result or an InputFault is thrown on. */
async function outcome(bytes: Uint8Array): Promise<'read' | 'refused'> {
  try {
    const layout = await readGdsii(files.write('damaged.gds', bytes));
    for (const top of layout.topCells.slice(0, 3)) {
      const drawn = new Set(countShapes(layout, top).keys());
      boundsUm(layout, top);
      for (const found of [
        shapesInWindow(layout, top, WINDOW, drawn),
        labelsInWindow(layout, top, WINDOW),
        cellInstancesInWindow(layout, top, WINDOW),
      ]) {
        for (let n = 0; n < 100 && !found.next().done; n++);
      }
    }
    return 'read';
  } catch (error) {
    if (error instanceof InputFault) return 'refused';
    throw error;
  }
}

const SMALL = randomLibrary({
  seed: 5,
  levels: 3,
  references: 2,
  topReferences: 4,
  topShapes: 6,
  angles: [0, 90, 30],
  magnifications: [1, 2],
});

describe('damaged GDSII', () => {
  it.each([
    ['every element', library(EVERY_ELEMENT), 21],
    ['a small library', SMALL, 22],
  ])('%s with some bytes changed', async (_, whole, seed) => {
    const below = randomNumbers(seed);
    const outcomes = { read: 0, refused: 0 };
    for (let n = 0; n < 250; n++) {
      const bytes = Buffer.from(whole);
      for (let changes = 1 + below(3); changes > 0; changes--) {
        const at = below(bytes.length);
        // Single bits as well as whole bytes: bits keep more of the structure alive.
        bytes[at] = below(2) === 0 ? bytes[at] ^ (1 << below(8)) : below(256);
      }
      outcomes[await outcome(bytes)]++;
    }
    expect(outcomes.read).toBeGreaterThan(20);
    expect(outcomes.refused).toBeGreaterThan(20);
  });

  it('every truncation is refused', async () => {
    const whole = library(EVERY_ELEMENT);
    for (let length = 0; length < whole.length; length += 3) {
      expect(await outcome(whole.subarray(0, length))).toBe('refused');
    }
    expect(await outcome(whole)).toBe('read');
  });

  it('bytes left out or put in are read or refused', async () => {
    const below = randomNumbers(23);
    for (let n = 0; n < 150; n++) {
      const at = below(SMALL.length);
      const piece = 2 * (1 + below(20));
      const parts = [
        SMALL.subarray(0, at),
        SMALL.subarray(below(2) === 0 ? at + piece : Math.max(0, at - piece)),
      ];
      expect(['read', 'refused']).toContain(await outcome(Buffer.concat(parts)));
    }
  });

  it('a chain of magnifications out of all bounds is refused by the queries', async () => {
    // 16^62 to the power of 40 has no place among the doubles.
    const huge = '7F 10 00 00 00 00 00 00';
    const cells = [structure('c0', rectangle())];
    for (let n = 1; n <= 40; n++)
      cells.push(structure(`c${n}`, sref(`c${n - 1}`, { strans: '0000', mag: huge })));
    expect(await outcome(library(cells.join('')))).toBe('refused');
  });

  it('a chain of magnifications down to nothing gives nothing', async () => {
    // 16^-64 each.
    const tiny = '01 10 00 00 00 00 00 00';
    const cells = [structure('c0', rectangle())];
    for (let n = 1; n <= 5; n++)
      cells.push(structure(`c${n}`, sref(`c${n - 1}`, { strans: '0000', mag: tiny })));
    expect(await outcome(library(cells.join('')))).toBe('read');
  });

  it('40 levels of two turned references each do not make 2^40 visits', async () => {
    const cells = [structure('c0', rectangle())];
    for (let n = 1; n <= 40; n++) {
      const child = `c${n - 1}`;
      const turned = sref(child, { angle: REAL8.deg30, x: '00000100', y: '0000000A' });
      cells.push(structure(`c${n}`, sref(child) + turned));
    }
    const layout = await readGdsii(files.write('turned.gds', library(cells.join(''))));
    expect(countShapes(layout, 'c40').get('1/0')?.flat).toBe(2 ** 40);
    expect(boundsUm(layout, 'c40').every(Number.isFinite)).toBe(true);
  });

  it('memory stays within reach of the file', async () => {
    const before = process.memoryUsage().arrayBuffers;
    const below = randomNumbers(24);
    for (let n = 0; n < 50; n++) {
      const bytes = Buffer.from(SMALL);
      bytes.writeUInt16BE(0xfffe, 2 * below(bytes.length / 2 - 1));
      await outcome(bytes);
    }
    expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(100e6);
  });
});
