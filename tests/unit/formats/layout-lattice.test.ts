/** Members of a lattice in a window, against asking every member. */
import { describe, expect, it } from 'vitest';
import { type Lattice, LatticeCursor, latticeBox } from '../../../pipeline/formats/layout/lattice.ts';
import { type Box, boxesMeet, EMPTY_BOX, unionBox } from '../../../shared/polygon.ts';
import { randomNumbers } from '../../fixtures/layout/gdsii-random.ts';

const memberBox = ({ ux, uy, vx, vy }: Lattice, box: Box, column: number, row: number): Box => {
  const x = column * ux + row * vx;
  const y = column * uy + row * vy;
  return [box[0] + x, box[1] + y, box[2] + x, box[3] + y];
};

describe('lattice of references', () => {
  it.each([
    ['any steps', 1, 2000, 0],
    ['steps of nothing, one line, or straight', 2, 3, 0],
    ['fractional steps', 3, 2000, 1 / 3],
  ])('finds the members a window meets, each once: %s', (_, seed, range, fraction) => {
    const below = randomNumbers(seed);
    const place = (limit: number) => below(2 * limit + 1) - limit;
    let members = 0;
    for (let n = 0; n < 800; n++) {
      const lattice: Lattice = {
        columns: 1 + below(12),
        rows: 1 + below(12),
        ux: place(range) + fraction,
        uy: below(2) === 0 ? 0 : place(range) + fraction,
        vx: below(2) === 0 ? 0 : place(range) - fraction,
        vy: place(range),
      };
      const box: Box = [place(50), place(50), 60 + below(90), 60 + below(90)];
      const x = place(4 * range);
      const y = place(4 * range);
      const window: Box = [x, y, x + below(3 * range), y + below(3 * range)];
      const wanted: string[] = [];
      let all: Box = EMPTY_BOX;
      for (let column = 0; column < lattice.columns; column++) {
        for (let row = 0; row < lattice.rows; row++) {
          const own = memberBox(lattice, box, column, row);
          all = unionBox(all, own);
          if (boxesMeet(own, window)) wanted.push(`${column} ${row}`);
        }
      }
      const found: string[] = [];
      const cursor = new LatticeCursor(lattice, box, window);
      while (cursor.next()) {
        // Members within rounding of the window are given too.
        if (boxesMeet(memberBox(lattice, box, cursor.column, cursor.row), window)) {
          found.push(`${cursor.column} ${cursor.row}`);
        }
      }
      expect(found).toEqual(wanted);
      latticeBox(lattice, box).forEach((value, side) => {
        expect(value).toBeCloseTo(all[side], 9);
      });
      members += found.length;
    }
    expect(members).toBeGreaterThan(500);
  });

  it('visits little more than it gives', () => {
    const lattice: Lattice = { columns: 32767, rows: 32767, ux: 70, uy: 10, vx: -10, vy: 70 };
    const cursor = new LatticeCursor(lattice, [0, 0, 50, 50], [500_000, 500_000, 500_700, 500_700]);
    let given = 0;
    while (cursor.next()) given++;
    // About (700 + 50)^2 / (70^2 + 10^2) members.
    expect(given).toBeGreaterThan(90);
    expect(given).toBeLessThan(140);
  });
});
