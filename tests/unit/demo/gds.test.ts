import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { decodeGds } from '../../../demo-volume/gds/decoder.ts';
import { encodeGds } from '../../../demo-volume/gds/encoder.ts';
import { decodeReal8, encodeReal8 } from '../../../demo-volume/gds/real8.ts';
import { drawChip } from '../../../demo-volume/layout/chip.ts';
import { chooseTop, flatten, ringBox } from '../../../demo-volume/layout/flatten.ts';
import { type Library, newCell } from '../../../demo-volume/layout/library.ts';
import { REAL8_TABLE } from '../../fixtures/layout/real8-table.ts';

const hex = (bytes: Uint8Array): string =>
  [...bytes].map((b) => b.toString(16).toUpperCase().padStart(2, '0')).join(' ');

/** Bytes nearest to the decimal, which a double cannot hold: they decode to it, but are not what it encodes to. */
const NEAREST_DECIMAL = ['39 44 B8 2F A0 9B 5A 53', '38 6D F3 7F 67 5E F6 EB', '38 DB E6 FE CE BD ED D6'];
const EXACT = REAL8_TABLE.filter(([, bytes]) => !NEAREST_DECIMAL.includes(bytes));

describe('eight-byte real', () => {
  const bytesOf = (text: string): DataView =>
    new DataView(Uint8Array.from(text.split(' '), (b) => Number.parseInt(b, 16)).buffer);

  it.each(EXACT)('%d is %s', (value, bytes) => {
    expect(hex(encodeReal8(value))).toBe(bytes);
  });

  it.each(REAL8_TABLE)('%d is what %s says', (value, bytes) => {
    expect(decodeReal8(bytesOf(bytes), 0)).toBe(value);
  });

  it('refuses what it cannot hold', () => {
    for (const value of [Number.NaN, Infinity, 1e80, 1e-90])
      expect(() => encodeReal8(value)).toThrow(RangeError);
  });
});

const oneCell = (): Library => {
  const cell = newCell('TOP');
  cell.shapes.push({ kind: 'boundary', layer: '3/0', ring: [0, 0, 140, 0, 140, 1000, 0, 1000] });
  const single = { mag: 1, columns: 1, rows: 1, columnStep: [0, 0], rowStep: [0, 0] } as const;
  const leaf = newCell('LEAF');
  cell.references.push({ cell: 'LEAF', x: 5, y: -7, mirror: true, angleDeg: 90, ...single });
  cell.references.push({
    ...{ cell: 'LEAF', x: 100, y: 200, mirror: false, angleDeg: 0, mag: 1 },
    ...{ columns: 3, rows: 2, columnStep: [40, 0], rowStep: [0, 60] },
  });
  return { name: 'LIB', dbuUm: 0.001, cells: new Map([leaf, cell].map((c) => [c.name, c])) };
};

describe('encoder', () => {
  const text = hex(encodeGds(oneCell()));

  it('writes the records of the worked examples', () => {
    expect(text.startsWith('00 06 00 02 02 58 00 1C 01 02')).toBe(true);
    expect(text).toContain('00 14 03 05 3E 41 89 37 4B C6 A7 F0 39 44 B8 2F A0 9B 5A 54');
    expect(text).toContain('00 08 06 06 54 4F 50 00');
    expect(text).toContain('00 06 1A 01 80 00');
    expect(text).toContain('00 0C 1C 05 42 5A 00 00 00 00 00 00');
    expect(text).toContain(
      '00 2C 10 03 00 00 00 00 00 00 00 00 00 00 00 8C 00 00 00 00 00 00 00 8C 00 00 03 E8',
    );
    expect(text.endsWith('00 04 07 00 00 04 04 00')).toBe(true);
  });

  it('writes an array as columns, rows and three points: origin, all columns on, all rows on', () => {
    expect(text).toContain('00 08 13 02 00 03 00 02');
    // (100, 200), (100 + 3 * 40, 200), (100, 200 + 2 * 60).
    expect(text).toContain(
      '00 1C 10 03 00 00 00 64 00 00 00 C8 00 00 00 DC 00 00 00 C8 00 00 00 64 00 00 01 40',
    );
  });

  it('refuses a coordinate between two grid points', () => {
    const library = oneCell();
    library.cells.get('LEAF')?.shapes.push({ kind: 'boundary', layer: '1/0', ring: [0, 0, 0.5, 0, 1, 1] });
    expect(() => encodeGds(library)).toThrow(/0\.5/);
  });
});

describe('decoder', () => {
  it('stops at a file that ends early, and says where', () => {
    const bytes = encodeGds(oneCell());
    for (let cut = 0; cut < bytes.length; cut += 3)
      expect(() => decodeGds(bytes.subarray(0, cut), 'cut.gds')).toThrow(/cut\.gds, byte \d+: expected/);
  });

  // Counts and boxes as the README beside these files states them, taken there with two other readers.
  const DATA = new URL('../../../../shared/data/', import.meta.url);
  const real: [string, string, number, number[]][] = [
    ['sg13g2_counter_board.gds', 'counter_board', 16370, [0, 0, 100, 100]],
    ['gf180_w_io.gds', 'W_IO', 81805, [0, 0, 142.8, 287.28]],
    ['sg13g2_sram_256x8.gds', 'RM_IHPSG13_1P_256x8_c3_bm_bist', 329973, [0, -0.225, 236.8, 74.1]],
  ];
  it.each(real)('opens out %s (skipped where the real layouts are not at hand)', (name, top, count, box) => {
    const file = new URL(name, DATA);
    if (!existsSync(file)) {
      console.log(`skipped: ${name} is not beside the repository`);
      return;
    }
    const library = decodeGds(readFileSync(file), name);
    expect(chooseTop(library, name)).toBe(top);
    const flat = flatten(library, top, name);
    let shapes = 0;
    const seen = [Infinity, Infinity, -Infinity, -Infinity];
    for (const rings of flat.rings.values())
      for (const ring of rings) {
        const b = ringBox(ring);
        shapes++;
        for (const a of [0, 1]) {
          seen[a] = Math.min(seen[a]!, b[a]!);
          seen[a + 2] = Math.max(seen[a + 2]!, b[a + 2]!);
        }
      }
    expect(shapes).toBe(count);
    seen.forEach((v, i) => expect(v).toBeCloseTo(box[i]!, 6));
  });
});

const CONVERTER = '/usr/bin/GDSIIConvert';

describe('the demo layout, read by another program', () => {
  it.skipIf(!existsSync(CONVERTER))(
    "has the elements that were drawn (needs GDSIIConvert of Debian's gdsiiconvert)",
    () => {
      const { library, top } = drawChip(7);
      const folder = mkdtempSync(join(tmpdir(), 'tgl7-'));
      try {
        writeFileSync(join(folder, 'chip.gds'), encodeGds(library));
        const raw = execFileSync(CONVERTER, ['chip.gds', '--raw'], { cwd: folder, encoding: 'utf8' });
        const report = execFileSync(CONVERTER, ['chip.gds', '--analyze'], { cwd: folder, encoding: 'utf8' });
        expect(raw.length).toBeGreaterThan(0);
        const cells = [...library.cells.values()];
        const count = (word: string): number => report.match(new RegExp(`: ${word}\\b`, 'g'))?.length ?? 0;
        const shapes = cells.flatMap((c) => c.shapes);
        const references = cells.flatMap((c) => c.references);
        const arrays = references.filter((r) => r.columns * r.rows > 1).length;
        expect(report.match(/\*\* Struct \d+/g)).toHaveLength(cells.length);
        expect(count('BOUNDARY')).toBe(shapes.filter((s) => s.kind === 'boundary').length);
        expect(count('PATH')).toBe(shapes.filter((s) => s.kind === 'path').length);
        expect(count('SREF')).toBe(references.length - arrays);
        expect(count('AREF')).toBe(arrays);
        expect(count('TEXT')).toBe(cells.flatMap((c) => c.labels).length);
        // The die is the only outline of the top cell: 71 by 59 tracks of 480 nm.
        const own = report.slice(report.indexOf(`: ${top}\n`));
        expect(own).toContain('XY: 0 0 34080 0 34080 28320 0 28320 0 0');
      } finally {
        rmSync(folder, { recursive: true });
      }
    },
  );
});
