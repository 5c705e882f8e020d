/**
 * Data types of OASIS. Bytes and values are the worked encodings of the reference values, section 2.2 (integers,
 * reals, deltas, repetitions; 16383, 16384, 8191 and -8192 are also printed in a public walk-through of the standard).
 */
import { describe, expect, it } from 'vitest';
import { FETCH_AGAIN, OasisCursor } from '../../../pipeline/formats/layout/oasis-cursor.ts';
import { PointList } from '../../../pipeline/formats/layout/oasis-point-list.ts';
import { Repetition } from '../../../pipeline/formats/layout/oasis-repetition.ts';
import { signatureOf } from '../../../pipeline/formats/layout/oasis-validation.ts';
import { hex } from '../../fixtures/layout/gdsii-bytes.ts';

const at = (bytes: string) => new OasisCursor('f.oas', hex(bytes));

/** Reads, and makes sure that all bytes were used. */
function whole<T>(bytes: string, read: (cursor: OasisCursor) => T): T {
  const cursor = at(bytes);
  const value = read(cursor);
  expect(cursor.left).toBe(0);
  return value;
}

describe('integers', () => {
  it.each([
    ['00', 0],
    ['7F', 127],
    ['80 01', 128],
    ['AC 02', 300],
    ['E8 07', 1000],
    ['FF 7F', 16383],
    ['80 80 01', 16384],
    ['80 80 80 80 10', 2 ** 32],
    // Computed: 2^53 - 1 is seven groups of seven ones and four more.
    ['FF FF FF FF FF FF FF 0F', Number.MAX_SAFE_INTEGER],
    ['FF FF FF FF 07', 2 ** 31 - 1],
    ['80 80 80 80 08', 2 ** 31],
    // Longer than need be, as a real file pads its END record.
    ['85 80 80 80 80 80 80 80 80 80 80 80 80 00', 5],
    [`80 ${'80 '.repeat(300)} 00`, 0],
  ])('unsigned %s is %d', (bytes, value) => {
    expect(whole(bytes, (cursor) => cursor.unsigned())).toBe(value);
  });

  it.each([
    ['00', 0],
    ['01', 0],
    ['02', 1],
    ['03', -1],
    ['7E', 63],
    ['7F', -63],
    ['80 01', 64],
    ['81 01', -64],
    ['FE 7F', 8191],
    ['81 80 01', -8192],
    ['D1 0F', -1000],
    ['FE FF FF FF FF FF FF 1F', Number.MAX_SAFE_INTEGER],
    ['FF FF FF FF FF FF FF 1F', -Number.MAX_SAFE_INTEGER],
  ])('signed %s is %d', (bytes, value) => {
    expect(whole(bytes, (cursor) => cursor.signed())).toBe(value);
  });

  it.each([
    ['unsigned', '80 80 80 80 80 80 80 10'],
    ['signed', '80 80 80 80 80 80 80 20'],
    ['unsigned', `${'FF '.repeat(200)} 01`],
  ] as const)('%s %s lies beyond 2^53', (kind, bytes) => {
    expect(() => at(bytes)[kind]()).toThrow(expect.objectContaining({ tag: 'limit' }));
  });

  it.each(['', '80', 'FF FF', '80 80 80 80 80', '80 80 80 80 80 80 80 80 80 80'])(
    '%s ends too early',
    (bytes) => {
      expect(() => at(bytes).unsigned()).toThrow(expect.objectContaining({ tag: 'truncated' }));
      expect(() => at(bytes).signed()).toThrow(expect.objectContaining({ tag: 'truncated' }));
      expect(() => at(bytes).delta()).toThrow(expect.objectContaining({ tag: 'truncated' }));
    },
  );
});

describe('reals', () => {
  it.each([
    ['00 E8 07', 1000],
    ['01 E8 07', -1000],
    ['02 E8 07', 1 / 1000],
    ['03 02', -0.5],
    ['04 05 08', 5 / 8],
    ['05 05 08', -5 / 8],
    ['06 00 00 00 3F', 0.5],
    // IEEE 754: sign, exponent 1023 + 6, 1.40625 x 2^6.
    ['07 00 00 00 00 00 80 56 40', 90],
  ])('%s is %d', (bytes, value) => {
    expect(whole(bytes, (cursor) => cursor.real())).toBe(value);
  });

  it.each([
    ['02 00', 'malformed'],
    ['04 05 00', 'malformed'],
    ['05 00 00', 'malformed'],
    ['06 00 00 80 7F', 'malformed'],
    ['07 00 00 00 00 00 00 F8 7F', 'malformed'],
    ['08 00', 'malformed'],
    ['07 00 00', 'truncated'],
  ])('%s is refused', (bytes, tag) => {
    expect(() => at(bytes).real()).toThrow(expect.objectContaining({ tag }));
  });
});

describe('deltas', () => {
  it.each([
    ['C0 0C', [100, 0]],
    ['CC 0C', [-100, -100]],
    ['93 03 90 03', [-100, 200]],
    ['0F 0B', [-3, -5]],
  ])('g-delta %s', (bytes, [x, y]) => {
    whole(bytes, (cursor) => {
      cursor.delta();
      expect([cursor.dx, cursor.dy]).toEqual([x, y]);
    });
  });

  // Form 1, magnitude 1: 16 + direction x 2. Directions E N W S NE NW SW SE.
  it.each([
    ['10', [1, 0]],
    ['12', [0, 1]],
    ['14', [-1, 0]],
    ['16', [0, -1]],
    ['18', [1, 1]],
    ['1A', [-1, 1]],
    ['1C', [-1, -1]],
    ['1E', [1, -1]],
  ])('g-delta %s', (bytes, [x, y]) => {
    whole(bytes, (cursor) => {
      cursor.delta();
      expect([cursor.dx, cursor.dy]).toEqual([x, y]);
    });
  });

  it.each([
    [2, '91 03', [0, 100]],
    [2, '04', [1, 0]],
    [2, '06', [-1, 0]],
    [2, '07', [0, -1]],
    [3, 'A4 06', [100, 100]],
    [3, '0D', [-1, 1]],
    [3, '0E', [-1, -1]],
    [3, '0F', [1, -1]],
  ] as const)('%i-delta %s', (bits, bytes, [x, y]) => {
    whole(bytes, (cursor) => {
      cursor.plainDelta(bits);
      expect([cursor.dx, cursor.dy]).toEqual([x, y]);
    });
  });
});

describe('strings', () => {
  it('are read with their length', () => {
    expect(whole('03 31 2E 30', (cursor) => cursor.string())).toBe('1.0');
    expect(whole('00', (cursor) => cursor.string())).toBe('');
    expect(whole('02 C2 B5', (cursor) => cursor.string())).toBe('\u00b5');
    expect(whole('01 B5', (cursor) => cursor.string())).toBe('\u00b5');
  });

  it.each([
    ['04 31 2E 30', 'truncated'],
    ['FF FF FF FF FF FF FF 0F 41', 'truncated'],
  ])('%s ends too early', (bytes, tag) => {
    expect(() => at(bytes).string()).toThrow(expect.objectContaining({ tag }));
  });

  it('names are neither empty nor hold control characters', () => {
    expect(whole('02 41 20', (cursor) => cursor.name())).toBe('A ');
    for (const bytes of ['00', '02 41 00', '01 7F']) {
      expect(() => at(bytes).name()).toThrow(expect.objectContaining({ tag: 'malformed' }));
    }
  });
});

describe('repetitions', () => {
  function shifts(bytes: string): number[][] {
    return whole(bytes, (cursor) => {
      const repetition = new Repetition();
      repetition.read(cursor);
      repetition.openOut();
      return Array.from({ length: repetition.members }, (_, n) => [
        ...repetition.offsets.subarray(2 * n, 2 * n + 2),
      ]);
    });
  }

  it('3 x 4 grid, pitch 100 x 200', () => {
    const cursor = at('01 01 02 64 C8 01');
    const repetition = new Repetition();
    repetition.read(cursor);
    expect(repetition).toMatchObject({ isLattice: true, columns: 3, rows: 4, members: 12 });
    expect(repetition.steps).toEqual([100, 0, 0, 200]);
    expect([repetition.x0, repetition.y0, repetition.x1, repetition.y1]).toEqual([0, 0, 200, 600]);
    expect(shifts('01 01 02 64 C8 01')[11]).toEqual([200, 600]);
  });

  // Computed from the definitions in the reference values: n - 2, then n - 1 displacements.
  it.each([
    [
      'row',
      '02 01 0A',
      [
        [0, 0],
        [10, 0],
        [20, 0],
      ],
    ],
    [
      'column',
      '03 01 0A',
      [
        [0, 0],
        [0, 10],
        [0, 20],
      ],
    ],
    [
      '4 members, x gaps 10, 20, 30',
      '04 02 0A 14 1E',
      [
        [0, 0],
        [10, 0],
        [30, 0],
        [60, 0],
      ],
    ],
    [
      'x gaps on a grid of 5',
      '05 01 05 02 04',
      [
        [0, 0],
        [10, 0],
        [30, 0],
      ],
    ],
    [
      'y gaps',
      '06 01 0A 14',
      [
        [0, 0],
        [0, 10],
        [0, 30],
      ],
    ],
    [
      'y gaps on a grid of 5',
      '07 01 05 02 04',
      [
        [0, 0],
        [0, 10],
        [0, 30],
      ],
    ],
    // g-deltas: W 3 = 3 x 16 + 2 x 2; (-3, -5) = 0F 0B.
    [
      'skewed 2 x 2',
      '08 00 00 34 0F 0B',
      [
        [0, 0],
        [-3, 0],
        [-3, -5],
        [-6, -5],
      ],
    ],
    [
      'diagonal line',
      '09 01 0F 0B',
      [
        [0, 0],
        [-3, -5],
        [-6, -10],
      ],
    ],
    [
      'list',
      '0A 01 34 0F 0B',
      [
        [0, 0],
        [-3, 0],
        [-6, -5],
      ],
    ],
    [
      'list on a grid of 5',
      '0B 01 05 34 0F 0B',
      [
        [0, 0],
        [-15, 0],
        [-30, -25],
      ],
    ],
  ])('%s', (_, bytes, expected) => {
    expect(shifts(bytes)).toEqual(expected);
  });

  it('type 0 takes up the last one, and needs one', () => {
    const repetition = new Repetition();
    expect(() => repetition.read(at('00'))).toThrow(expect.objectContaining({ tag: 'malformed' }));
    repetition.read(at('02 01 0A'));
    repetition.read(at('00'));
    expect(repetition).toMatchObject({ columns: 3, rows: 1 });
  });

  it.each([
    ['0C 00', 'malformed'],
    ['04 FF FF FF FF FF FF FF 0F 01', 'limit'],
    ['04 FF FF FF FF 07 01', 'truncated'],
    ['01 FF FF FF FF 0F 00 01 01', 'limit'],
    ['01 FE FF FF 07 00 FF FF FF FF FF FF FF 0F 01', 'limit'],
  ])('%s is refused', (bytes, tag) => {
    expect(() => new Repetition().read(at(bytes))).toThrow(expect.objectContaining({ tag }));
  });
});

describe('point lists', () => {
  function vertices(bytes: string, isPolygon: boolean): number[] {
    return whole(bytes, (cursor) => {
      const points = new PointList();
      points.read(cursor, isPolygon);
      return [...points.xy.subarray(0, 2 * points.vertices)];
    });
  }

  // An L, worked by hand: (0,0) (6,0) (6,2) (2,2) (2,5), and (0,5) left out.
  const L = [0, 0, 6, 0, 6, 2, 2, 2, 2, 5, 0, 5];
  it.each([
    ['0: 1-deltas, horizontal first', '00 04 0C 04 09 06', L],
    ['1: 1-deltas, vertical first', '01 04 0A 04 07 08', [0, 0, 0, 5, 2, 5, 2, 2, 6, 2, 6, 0]],
    ['2: 2-deltas', '02 05 18 09 12 0D 0A', L],
    ['3: 3-deltas', '03 05 30 11 22 19 12', L],
    ['4: g-deltas', '04 05 60 22 44 32 24', L],
    // Changes of (6,0) (0,2) (-4,0) (0,3) (-2,0): (6,0) (-6,2) (-4,-2) (4,3) (-2,-3).
    ['5: changes of g-deltas', '05 05 60 1B 04 13 05 11 06 0B 07', L],
  ])('polygon of type %s', (_, bytes, expected) => {
    expect(vertices(bytes, true)).toEqual(expected);
  });

  it('a path has no vertex left out, and may have an odd number', () => {
    expect(vertices('00 03 0C 04 09', false)).toEqual([0, 0, 6, 0, 6, 2, 2, 2]);
    expect(vertices('01 01 0A', false)).toEqual([0, 0, 0, 5]);
  });

  it('a last vertex on the first is dropped from a polygon', () => {
    expect(vertices('02 04 18 19 1A 1B', true)).toEqual([0, 0, 6, 0, 6, 6, 0, 6]);
  });

  it.each([
    ['06 01 00', true, 'malformed'],
    ['00 03 0C 04 09', true, 'malformed'],
    ['04 01 60', true, 'malformed'],
    ['04 00', false, 'malformed'],
    ['04 FF FF FF FF 07 60', true, 'truncated'],
    ['00 02 FE FF FF FF FF FF FF 1F', false, 'truncated'],
    ['04 03 F0 FF FF FF FF FF FF FF 01 F0 FF FF FF FF FF FF FF 01 02 02', true, 'limit'],
  ])('%s (polygon: %s) is refused', (bytes, isPolygon, tag) => {
    expect(() => vertices(bytes, isPolygon)).toThrow(expect.objectContaining({ tag }));
  });
});

describe('signatures', () => {
  const DIGITS = Buffer.from('123456789', 'latin1');

  it('CRC-32 of "123456789" is CBF43926', () => {
    // The check value of the reference values, section 2.2.
    expect(signatureOf(1, DIGITS, 9)).toBe(0xcbf43926);
  });

  it('checksum-32 is the sum of the bytes', () => {
    // 0x31 + ... + 0x39 = 9 x 0x35.
    expect(signatureOf(2, DIGITS, 9)).toBe(477);
    expect(signatureOf(2, DIGITS, 2)).toBe(0x63);
    // 2^25 + 3 bytes of 255, over the size of a piece and over 2^32: (2^25 + 3) x 255 mod 2^32.
    expect(signatureOf(2, Buffer.alloc(2 ** 25 + 3, 255), 2 ** 25 + 3)).toBe(
      Number(((2n ** 25n + 3n) * 255n) % 2n ** 32n),
    );
  });
});

it('every fault says what to do', () => {
  expect(() => at('').unsigned()).toThrow(
    expect.objectContaining({ fields: expect.objectContaining({ remedy: FETCH_AGAIN }) }),
  );
});
