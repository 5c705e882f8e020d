/** Where everything of the chip lies, on the track grid, and the seeded filling of the rows with cells. */
import type { Random } from '../random.ts';
import type { StandardCell } from './cells.ts';
import { ROW_TRACKS } from './drawn-layers.ts';
import { MEMORY_TRACKS } from './memory.ts';

/** Size of the die in tracks; the tracks at 0 and at the size itself are its edges. */
export const DIE_TRACKS = { x: 71, y: 59 } as const;

/** Lower left corner of the core, its columns and rows. */
export const CORE = { x: 6, y: 5, columns: 58, rows: 6 } as const;

/** The store takes two rows, from an even one, so that both its outer rails are ground. */
export const MEMORY = { column: 36, row: 2 } as const;

export interface Instance {
  readonly name: string;
  readonly cell: string;
  /** Track of the lower left corner (of the left end of its bottom rail). */
  readonly x: number;
  readonly y: number;
  /** In odd rows the cell is mirrored about its own x axis, so that neighbouring rows share a rail. */
  readonly mirrored: boolean;
}

/** The supply of the rail between two rows: rail 0 is ground. */
export const railNet = (rail: number): 'VSS' | 'VDD' => (rail % 2 === 0 ? 'VSS' : 'VDD');

const MIX = [
  ...['HER_INV', 'HER_INV', 'HER_INV', 'HER_NAND2', 'HER_NAND2', 'HER_NAND2'],
  ...['HER_NOR2', 'HER_NOR2', 'HER_NOR2', 'HER_INV2', 'HER_REG'],
];

function fillRow(columns: number, cells: Map<string, StandardCell>, random: Random): [string, number][] {
  const width = (name: string): number => cells.get(name)?.columns ?? 0;
  const out: [string, number][] = [];
  let at = 0;
  const put = (name: string): void => {
    out.push([name, at]);
    at += width(name);
  };
  put('HER_TAP');
  while (at < columns) {
    const room = columns - at;
    const fitting = MIX.filter((name) => width(name) <= room);
    if (fitting.length === 0 || (random.uniform() < 0.08 && room >= 2)) {
      put(room >= 4 ? 'HER_FILL4' : room >= 2 ? 'HER_FILL2' : 'HER_FILL1');
    } else put(random.pick(fitting));
  }
  return out;
}

/** Every standard cell of the core, row by row; the columns of the store are left free. */
export function placeCells(cells: Map<string, StandardCell>, random: Random): Instance[] {
  const out: Instance[] = [];
  for (let row = 0; row < CORE.rows; row++) {
    const shared = row === MEMORY.row || row === MEMORY.row + 1;
    const spans = shared
      ? [
          [0, MEMORY.column],
          [MEMORY.column + MEMORY_TRACKS, CORE.columns],
        ]
      : [[0, CORE.columns]];
    for (const [from, to] of spans as [number, number][]) {
      for (const [cell, at] of fillRow(to - from, cells, random)) {
        const mirrored = row % 2 === 1;
        out.push({
          name: `X${row}_${from + at}`,
          cell,
          x: CORE.x + from + at,
          y: CORE.y + ROW_TRACKS * (mirrored ? row + 1 : row),
          mirrored,
        });
      }
    }
  }
  return out;
}
