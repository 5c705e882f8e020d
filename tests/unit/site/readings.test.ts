/** Readings: geometry against paper, links and tables against what went in, words as they are printed. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parseCsv } from '../../../shared/csv.ts';
import { encodeReadings, MOST_IN_LINK, parseReadings } from '../../../site/lib/measuring/link.ts';
import { readReadings } from '../../../site/lib/measuring/read-readings.ts';
import type { Reading, ReadingInput } from '../../../site/lib/measuring/reading.ts';
import { angleOf, areaOf, crossesItself, distanceOf } from '../../../site/lib/measuring/shapes.ts';
import { readStoredReadings } from '../../../site/lib/measuring/stored.ts';
import { readingsCsv, readingsOfRows } from '../../../site/lib/measuring/table.ts';
import { besideWords, valueWords } from '../../../site/lib/measuring/words.ts';

const scale = { pixelUm: 0.02, relative: 0 };

const reading: Reading = {
  ...{ kind: 'width', scan: 'fine', frame: 'die', layer: 'metal1', plate: 25, z_um: 1.3 },
  points_um: [
    [50.8, 57.6, 1.3],
    [-51.5, 57.6, 1.3],
  ],
  ...{ average_um: 0.18, pointing_um: null, resolution_um: 0.0564, method: 'reading-width' },
  values: [{ name: 'width', value: 0.3208, unit: 'um', expanded: 0.0015, drawn: 0.28 }],
  ...{ software: 'stratafolio 0.1.0', made: '2026-03-02', note: '=1+1, "quoted"', doubts: ['one', 'two'] },
};

describe('geometry of points', () => {
  it('measures the 3-4-5 triangle', () => {
    const [length, dx, dy, angle] = distanceOf([0, 0], [3, 4], 0.02, scale);
    expect([length!.value, dx!.value, dy!.value]).toEqual([5, 3, 4]);
    expect(angle!.value).toBeCloseTo(53.1301, 4);
    // Two points, each rectangular within 0.02 either way: 1.96 sqrt(2) 0.02 / sqrt(3). JCGM 100:2008 4.3.7.
    expect(length!.expanded).toBeCloseTo((1.95996 * Math.SQRT2 * 0.02) / Math.sqrt(3), 6);
    expect(angleOf([4, 0], [0, 0], [0, 3], 0.02)![0]!.value).toBeCloseTo(90, 10);
    expect(angleOf([1, 1], [1, 1], [0, 3], 0.02)).toBeNull();
  });

  it('measures an L of 3 units and refuses outlines that cross themselves', () => {
    const corners = [
      [0, 0],
      [2, 0],
      [2, 1],
      [1, 1],
      [1, 2],
      [0, 2],
    ] as const;
    const [area, perimeter] = areaOf(corners, 0.02, scale)!;
    expect([area!.value, perimeter!.value]).toEqual([3, 8]);
    expect(crossesItself(corners)).toBe(false);
    expect(
      crossesItself([
        [0, 0],
        [1, 1],
        [1, 0],
        [0, 1],
      ]),
    ).toBe(true);
  });

  it('states intervals that hold the true area of outlines put by an unsteady hand in 93 to 99 %', () => {
    // Corners fall anywhere within the stated limits, as the rectangular distribution has it.
    let seed = 7;
    const random = () => {
      seed = (seed * 16_807) % 2_147_483_647;
      return seed / 2_147_483_647;
    };
    let held = 0;
    for (let n = 0; n < 1000; n++) {
      const shaken = [
        [0, 0],
        [3, 0],
        [3, 2],
        [0, 2],
      ].map(([x, y]) => [x! + 0.1 * (2 * random() - 1), y! + 0.1 * (2 * random() - 1)] as const);
      const area = areaOf(shaken, 0.1, scale)![0]!;
      if (Math.abs(area.value - 6) <= area.expanded!) held++;
    }
    expect(held / 1000).toBeGreaterThan(0.93);
    expect(held / 1000).toBeLessThan(0.99);
  });
});

describe('readings in a link', () => {
  const number = fc.double({ min: -900, max: 900, noNaN: true }).map((v) => Number(v.toFixed(4)) + 0);
  const point = fc.tuple(number, number, number) as fc.Arbitrary<[number, number, number]>;
  const input: fc.Arbitrary<ReadingInput> = fc.oneof(
    fc.record({
      kind: fc.constantFrom('width' as const, 'pitch' as const, 'thickness' as const),
      points_um: fc.array(point, { minLength: 2, maxLength: 2 }),
      average_um: number.map(Math.abs),
      pointing_um: fc.constant(null),
    }),
    fc.record({
      kind: fc.constant('area' as const),
      points_um: fc.array(point, { minLength: 3, maxLength: 20 }),
      average_um: fc.constant(null),
      pointing_um: number.map(Math.abs),
    }),
  );

  it('come out as they went in', () => {
    fc.assert(
      fc.property(fc.array(input, { maxLength: MOST_IN_LINK }), (list) => {
        const text = new URLSearchParams(`m=${encodeURIComponent(encodeReadings(list))}`).get('m')!;
        expect(parseReadings(text)).toEqual(list);
      }),
      { numRuns: 60 },
    );
  });

  it('are left out where they are broken, and never guessed', () => {
    for (const text of [
      'width~0.1~~1,2,3',
      'width~0.1~~1,2,3,4,5,x',
      'length~0.1~~1,2,3,4,5,6',
      'width~-4~~1,2,3,4,5,6',
      'area~~0.1~1,2,3,4,5,6',
      'width',
      '',
    ])
      expect(parseReadings(text), text).toEqual([]);
    expect(encodeReadings(Array.from({ length: MOST_IN_LINK + 1 }, () => reading))).toBe('');
  });
});

describe('readings in files', () => {
  it('come back from a table, from JSON and from a browser as they were', () => {
    const csv = readingsCsv([reading, { ...reading, layer: null, note: '', doubts: [] }]);
    const rows = readingsOfRows(parseCsv(csv, 'r.csv'), 'r.csv');
    expect(rows).toEqual([reading, { ...reading, layer: null, note: '', doubts: [] }]);
    // A text that a spreadsheet would run is defused, and comes back whole.
    expect(csv).toContain(`"'=1+1, ""quoted"""`);
    const json = JSON.stringify({ version: 1, folio: 'f', chip: 'c', readings: [reading] });
    expect(readReadings(json, 'r.json')).toEqual([reading]);
    expect(readStoredReadings(JSON.stringify([reading, { kind: 'width' }, 7, null]))).toEqual([reading]);
    expect(readStoredReadings('{')).toEqual([]);
  });

  it('are refused with the place where they are not sound', () => {
    const csv = readingsCsv([reading]).replace('0.3208', 'wide');
    expect(() => readingsOfRows(parseCsv(csv, 'r.csv'), 'r.csv')).toThrow(
      /r\.csv, line 2, column value: expected a number, found "wide"/,
    );
    expect(() => readReadings('{"version":1}', 'r.json')).toThrow(/r\.json/);
    expect(() => readReadings('nothing', 'r.json')).toThrow(/expected JSON/);
  });
});

describe('words', () => {
  it('give two figures of the interval, and the drawn size beside the imaged one', () => {
    const width = { name: 'width', value: 0.1519, unit: 'um', expanded: 0.0062, drawn: 0.14 };
    expect(besideWords(width).replaceAll('\u00a0', ' ')).toBe('drawn 140 nm, imaged 151.9 ± 6.2 nm');
    expect(valueWords({ ...width, value: 12.3456, expanded: 0.0231 }).replaceAll('\u00a0', ' ')).toBe(
      '12.346 ± 0.023 µm',
    );
    expect(
      valueWords({ ...width, unit: 'deg', value: 89.95, expanded: 0.42 }).replaceAll('\u00a0', ' '),
    ).toBe('89.95 ± 0.42°');
    expect(valueWords({ ...width, unit: '1', value: 4, expanded: null })).toBe('4');
    expect(valueWords({ ...width, unit: '1', value: 10, expanded: null })).toBe('10');
  });
});
