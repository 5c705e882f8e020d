import { describe, expect, it } from 'vitest';
import { encodeGds } from '../../../demo-volume/gds/encoder.ts';
import { drawChip } from '../../../demo-volume/layout/chip.ts';
import { findConductors } from '../../../demo-volume/layout/connectivity.ts';
import { checkDrawing } from '../../../demo-volume/layout/drawing-check.ts';
import { flatten } from '../../../demo-volume/layout/flatten.ts';
import { addRect, type Reference } from '../../../demo-volume/layout/library.ts';
import { pathOutline } from '../../../demo-volume/layout/path-outline.ts';
import { readStack } from '../../../demo-volume/process-stack.ts';

const stack = readStack(new URL('../../../demo-volume/process.yaml', import.meta.url).pathname).layers;

describe('the drawing', () => {
  it.each([1, 2, 7, 42, 1001])('of seed %i has no short, no open and no space too small', (seed) => {
    const chip = drawChip(seed);
    expect(chip.nets.length).toBeGreaterThan(30);
    expect(checkDrawing(chip, stack)).toEqual([]);
  });

  it('is the same, byte by byte, for the same seed, and another for another', () => {
    const [a, b, c] = [7, 7, 8].map((seed) => encodeGds(drawChip(seed).library)) as [
      Uint8Array,
      Uint8Array,
      Uint8Array,
    ];
    expect(Buffer.from(a).equals(b)).toBe(true);
    expect(Buffer.from(a).equals(c)).toBe(false);
  });

  it('has every means of expression that a layout reader must know', () => {
    const cells = [...drawChip(7).library.cells.values()];
    const references = cells.flatMap((c) => c.references);
    expect(references.some((r) => r.mirror)).toBe(true);
    expect(references.some((r) => r.columns * r.rows > 1)).toBe(true);
    expect(cells.flatMap((c) => c.shapes).some((s) => s.kind === 'path')).toBe(true);
    expect(cells.flatMap((c) => c.labels).map((l) => l.layer)).toEqual(
      expect.arrayContaining(['1/9', '21/9', '25/9']),
    );
  });
});

describe('the check of the drawing', () => {
  it('reports a planted short', () => {
    const chip = drawChip(7);
    const wires = chip.library.cells.get('TGL7_WIRES')!;
    // A bar of metal3 right across the core joins whatever it meets.
    const via = wires.references.filter((r) => r.cell === 'HER_VIA2').map((r) => r.y);
    addRect(wires, '23/0', 3000, via[0]! - 120, 31000, via[0]! + 120);
    expect(checkDrawing(chip, stack).map((f) => f.kind)).toContain('short');
  });

  it('reports every via that is taken away as an open', () => {
    for (const cell of ['HER_VIA1', 'HER_VIA2', 'HER_VIA3']) {
      const chip = drawChip(7);
      const wires = chip.library.cells.get('TGL7_WIRES')!;
      const at = wires.references.findIndex((r: Reference) => r.cell === cell);
      wires.references.splice(at, 1);
      expect(checkDrawing(chip, stack).map((f) => f.kind)).toContain('open');
    }
  });

  it('names conductors by their labels', () => {
    const chip = drawChip(7);
    const found = findConductors(flatten(chip.library, chip.top, 'drawing'), stack);
    const names = [...found.names.values()].flat();
    for (const net of [...chip.nets.map((n) => n.name), 'VDD', 'VSS']) expect(names).toContain(net);
  });
});

describe('outline of a path', () => {
  const base = { kind: 'path', layer: '1/0', line: [0, 0, 100, 0], width: 20 } as const;
  const boxOf = (ring: readonly number[]): number[] => {
    const xs = ring.filter((_, i) => i % 2 === 0);
    const ys = ring.filter((_, i) => i % 2 === 1);
    return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  };

  // GDSII Stream, PATHTYPE: flush, round, extended by half the width, extended as stated.
  it('ends as its type says', () => {
    expect(boxOf(pathOutline({ ...base, ends: 0 }))).toEqual([0, -10, 100, 10]);
    expect(boxOf(pathOutline({ ...base, ends: 2 }))).toEqual([-10, -10, 110, 10]);
    expect(boxOf(pathOutline({ ...base, ends: 4, begin: 3, end: -5 }))).toEqual([-3, -10, 95, 10]);
    const round = boxOf(pathOutline({ ...base, ends: 1 }));
    expect(round[0]).toBeCloseTo(-10, 9);
    expect(round[2]).toBeCloseTo(110, 9);
  });

  it('turns a corner without a notch', () => {
    const ring = pathOutline({ ...base, line: [0, 0, 100, 0, 100, 50], ends: 0 });
    expect(boxOf(ring)).toEqual([0, -10, 110, 50]);
    let twice = 0;
    for (let i = 0, j = ring.length - 2; i < ring.length; j = i, i += 2)
      twice += ring[j]! * ring[i + 1]! - ring[i]! * ring[j + 1]!;
    // Two arms: 110 x 20 lying, 20 x 40 standing on it.
    expect(Math.abs(twice) / 2).toBeCloseTo(110 * 20 + 20 * 40, 6);
  });
});
