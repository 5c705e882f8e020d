/** Reads landmarks.csv: places that a person recognised both in the slices and in the drawing. */
import { nearest } from '../../../shared/artefacts/known-keys.ts';
import { InputFault } from '../../../shared/errors.ts';
import type { ControlPoint } from '../../kernels/affine-fit.ts';
import { distanceFromLine } from '../../kernels/affine-fit-spread.ts';
import { checkedRows, type Row } from './landmarks-rows.ts';

export interface Landmark extends ControlPoint {
  /** Line in the file, counted from 1. */
  readonly line: number;
  readonly label: string;
}

const COORDINATES = ['i', 'j', 'k', 'x_um', 'y_um', 'z_um'] as const;
const COLUMNS: readonly string[] = [...COORDINATES, 'name'];
const HEADER = COORDINATES.join(',');

/** A number as people write it; not hexadecimal, not empty, not "Infinity". */
const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i;

/** Landmarks within this distance (voxels) of one line, or this share of its length, fix no rotation about it. */
const LINE_VOXELS = 1;
const LINE_SHARE = 1e-3;

/**
 * The columns `i, j, k` (voxel index, fractions allowed) and `x_um, y_um, z_um` (die frame) in any order, `name`
 * optional; separated by commas, semicolons or tabs; blank lines and lines that begin with # are skipped.
 *
 * @param text the file's text.
 * @param file its name for messages.
 * @throws InputFault for a missing, unknown or repeated column, a cell that is not a number, a repeated landmark,
 * fewer than 3 landmarks, or landmarks in one line.
 */
export function readLandmarks(text: string, file: string): Landmark[] {
  const { header, rows } = checkedRows(text, file, HEADER);
  const at = columnsOf(header, file);
  const landmarks = rows.map((row) => landmarkOf(row, at, header, file));
  checkCount(landmarks, file);
  checkRepeats(landmarks, file);
  checkLine(landmarks, file);
  return landmarks;
}

/** Position of every known column. */
function columnsOf(header: Row, file: string): Map<string, number> {
  const place = `line ${header.line}`;
  const at = new Map<string, number>();
  for (const [position, written] of header.cells.entries()) {
    const name = written.toLowerCase();
    if (at.has(name))
      throw new InputFault({
        tag: 'schema',
        file,
        place,
        expected: 'each column once',
        found: `the column "${written}" twice`,
        remedy: 'Leave one of the two out.',
      });
    at.set(name, position);
  }
  const missing = COORDINATES.filter((name) => !at.has(name));
  const unknown = header.cells.filter((name) => !COLUMNS.includes(name.toLowerCase()));
  if (missing.length > 0) {
    const wanted = missing[0]!;
    const near = nearest(wanted, unknown);
    throw new InputFault({
      tag: 'schema',
      file,
      place,
      expected: `the column "${wanted}"`,
      found: near === null ? `only ${quoted(header.cells)}` : `"${near}", the nearest name to it`,
      remedy: `Begin the file with the line ${HEADER}, in any order.`,
    });
  }
  if (unknown.length > 0)
    throw new InputFault({
      tag: 'schema',
      file,
      place,
      expected: `no columns but ${HEADER} and name`,
      found: `the column "${unknown[0]}"${nearestKnown(unknown[0]!)}`,
      remedy: 'Rename it or leave it out; remarks can stand in lines that begin with #.',
    });
  return at;
}

const quoted = (names: readonly string[]): string => names.map((name) => `"${name}"`).join(', ');

function nearestKnown(name: string): string {
  const known = nearest(name, COLUMNS);
  return known === null ? '' : ` (the nearest known one is "${known}")`;
}

function landmarkOf(row: Row, at: ReadonlyMap<string, number>, header: Row, file: string): Landmark {
  const number = (column: (typeof COORDINATES)[number]): number => {
    const cell = row.cells[at.get(column)!]!;
    const value = NUMBER.test(cell) ? Number(cell) : NaN;
    if (Number.isFinite(value)) return value;
    throw new InputFault({
      tag: 'malformed',
      file,
      place: `line ${row.line}, column "${header.cells[at.get(column)!]}"`,
      expected: 'a number',
      found: cell === '' ? 'nothing' : `"${cell}"`,
      remedy: /^[+-]?\d+,\d+$/.test(cell) ? 'Write decimals with a point.' : 'Put a number there.',
    });
  };
  const name = at.has('name') ? row.cells[at.get('name')!]! : '';
  return {
    voxel: [number('i'), number('j'), number('k')],
    dieUm: [number('x_um'), number('y_um'), number('z_um')],
    line: row.line,
    label: name === '' ? `line ${row.line}` : `line ${row.line} (${name})`,
  };
}

function checkCount(landmarks: readonly Landmark[], file: string): void {
  if (landmarks.length >= 3) return;
  throw new InputFault({
    tag: 'inconsistent',
    file,
    expected: 'at least 3 landmarks',
    found: `${landmarks.length}`,
    remedy:
      'Add landmarks; six or more, spread over the field and over the depth, also show their own errors.',
  });
}

/** One voxel cannot lie at two places, and two voxels cannot lie at one. */
function checkRepeats(landmarks: readonly Landmark[], file: string): void {
  for (const [frame, what] of [
    ['voxel', 'voxel index'],
    ['dieUm', 'die position'],
  ] as const) {
    const seen = new Map<string, Landmark>();
    for (const landmark of landmarks) {
      // Adding 0 makes -0 and 0 the same key.
      const key = landmark[frame].map((value) => value + 0).join(', ');
      const earlier = seen.get(key);
      if (earlier)
        throw new InputFault({
          tag: 'inconsistent',
          file,
          place: landmark.label,
          expected: `a ${what} of its own`,
          found: `(${key}), which ${earlier.label} has too`,
          remedy: 'Correct one of the two lines or remove it.',
        });
      seen.set(key, landmark);
    }
  }
}

function checkLine(landmarks: readonly Landmark[], file: string): void {
  for (const [frame, where, apart] of [
    ['voxel', 'in the slices', LINE_VOXELS],
    ['dieUm', 'on the die', 0],
  ] as const) {
    const { widest, length } = distanceFromLine(landmarks.map((landmark) => landmark[frame]));
    if (widest > Math.max(apart, LINE_SHARE * length)) continue;
    throw new InputFault({
      tag: 'inconsistent',
      file,
      expected: 'landmarks that do not all lie in one line',
      found: `${landmarks.length} landmarks in one line ${where}`,
      remedy: 'Add a landmark well away from that line.',
    });
  }
}
