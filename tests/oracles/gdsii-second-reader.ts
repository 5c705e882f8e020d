/**
 * A second reader of GDSII: Debian's GDSIIConvert (package gdsiiconvert) prints every record of a file; this turns
 * the print-out, and a layout as our reader gives it, into the same plain lines, so that the two can be compared.
 */
import { spawnSync } from 'node:child_process';
import { type Layout, pathAt, polygonCount, referenceAt } from '../../pipeline/formats/layout.ts';

export const SECOND_READER_MISSING =
  spawnSync('GDSIIConvert', ['--help']).error === undefined
    ? ''
    : ' (skipped: Debian package gdsiiconvert is not installed)';

interface DumpRecord {
  readonly name: string;
  readonly value: string;
}

/** Sorted lines by cell name. */
export type CellLines = Map<string, string[]>;

function dumpRecords(file: string): DumpRecord[] {
  // A non-zero end is expected for NODE, which that program prints but does not use.
  const { stdout } = spawnSync('GDSIIConvert', [file, '--raw'], { encoding: 'latin1', maxBuffer: 2 ** 28 });
  const records: DumpRecord[] = [];
  for (const line of stdout.split('\n')) {
    const match = /^Record \d+: +([A-Z]+)(?: \( *\d+\) )? = ?(.*)$/.exec(line);
    if (match) records.push({ name: match[1], value: match[2] });
  }
  return records;
}

/** The program keeps the first 32 characters of any text; cells whose names agree so far are taken together. */
const cut = (text: string): string => text.slice(0, 32);

const numbers = (text: string): number[] => text.trim().split(/\s+/).map(Number);

/** The program prints the two bytes with the least significant bit of each first. */
const isReflected = (bits: string): boolean => bits[7] === '1';

const fixed = (value: number): string => (Math.round(value * 1e4) / 1e4 + 0).toFixed(4);
const listed = (values: ArrayLike<number>): string => Array.from(values).join(' ');

function withoutClosing(xy: readonly number[]): number[] {
  const closes = xy.length > 2 && xy[0] === xy.at(-2) && xy[1] === xy.at(-1);
  return closes ? xy.slice(0, -2) : [...xy];
}

/** What the second reader says of a file. */
export function linesOfSecondReader(file: string): CellLines {
  const cells: CellLines = new Map();
  let lines: string[] = [];
  let fields = new Map<string, string>();
  let kind = '';
  let properties: string[] = [];
  for (const { name, value } of dumpRecords(file)) {
    switch (name) {
      case 'STRNAME':
        lines = cells.get(value) ?? [];
        cells.set(value, lines);
        break;
      case 'BOUNDARY':
      case 'PATH':
      case 'BOX':
      case 'NODE':
      case 'TEXT':
      case 'SREF':
      case 'AREF':
        kind = name;
        fields = new Map();
        properties = [];
        break;
      case 'PROPVALUE':
        properties.push(`${fields.get('PROPATTR')?.trim()}=${value}`);
        break;
      case 'ENDEL': {
        const line = lineOfElement(kind, fields, properties);
        if (line !== '') lines.push(line);
        break;
      }
      default:
        fields.set(name, value);
    }
  }
  for (const list of cells.values()) list.sort();
  return cells;
}

function lineOfElement(
  kind: string,
  fields: ReadonlyMap<string, string>,
  properties: readonly string[],
): string {
  const number = (name: string, otherwise: number) => Number(fields.get(name) ?? otherwise);
  const xy = numbers(fields.get('XY') ?? '');
  const type = fields.get('DATATYPE') ?? fields.get('BOXTYPE') ?? fields.get('TEXTTYPE');
  const drawn = `${number('LAYER', -1)}/${Number(type)}`;
  switch (kind) {
    case 'BOUNDARY':
    case 'BOX':
      return `polygon ${drawn} ${listed(withoutClosing(xy))}`;
    case 'PATH': {
      const pathType = number('PATHTYPE', 0);
      const extensions = pathType === 4 ? ` ${number('BGNEXTN', 0)} ${number('ENDTEXTN', 0)}` : '';
      return `path ${drawn} ends ${pathType}${extensions} width ${number('WIDTH', 0)} ${listed(xy)}`;
    }
    case 'TEXT':
      return `label ${drawn} ${listed(xy)} ${fields.get('STRING')}`;
    case 'NODE':
      return '';
    default: {
      const [columns, rows] = kind === 'AREF' ? numbers(fields.get('COLROW') ?? '') : [1, 1];
      const steps =
        kind === 'AREF'
          ? [xy[2] - xy[0], xy[3] - xy[1]]
              .map((v) => v / columns)
              .concat([xy[4] - xy[0], xy[5] - xy[1]].map((v) => v / rows))
          : [0, 0, 0, 0];
      const angle = (number('ANGLE', 0) * Math.PI) / 180;
      const magnification = number('MAG', 1);
      const flip = isReflected(fields.get('STRANS') ?? '') ? -1 : 1;
      // p' = R(angle) mag F p + xy, as in the GDS II Stream Format Manual 6.0.
      const matrix = [
        magnification * Math.cos(angle),
        -flip * magnification * Math.sin(angle),
        xy[0],
        magnification * Math.sin(angle),
        flip * magnification * Math.cos(angle),
        xy[1],
      ];
      return (
        `reference ${fields.get('SNAME')} [${matrix.map(fixed)}] ${columns} x ${rows} ` +
        `by [${steps.map(fixed)}] {${[...properties].sort()}}`
      );
    }
  }
}

/** What our reader says of a file, in the same form. */
export function linesOfLayout(layout: Layout): CellLines {
  const cells: CellLines = new Map();
  for (const cell of layout.cells.values()) {
    const lines = cells.get(cut(cell.name)) ?? [];
    for (const [drawn, block] of cell.polygons) {
      for (let n = 0; n < polygonCount(block); n++) {
        const xy = block.xy.subarray(2 * block.starts[n], 2 * block.starts[n + 1]);
        lines.push(`polygon ${drawn} ${listed(xy)}`);
      }
    }
    for (const [drawn, block] of cell.paths) {
      for (let n = 0; n < polygonCount(block); n++) {
        const { ends, widthDbu, widthIsAbsolute, xy } = pathAt(block, n);
        const code = { flush: '0', round: '1', 'half-width': '2' };
        const shown = typeof ends === 'string' ? code[ends] : `4 ${ends.beginDbu} ${ends.endDbu}`;
        lines.push(
          `path ${drawn} ends ${shown} width ${widthIsAbsolute ? -widthDbu : widthDbu} ${listed(xy)}`,
        );
      }
    }
    for (const { drawn, text, xDbu, yDbu } of cell.labels)
      lines.push(`label ${drawn} ${xDbu} ${yDbu} ${cut(text)}`);
    for (let n = 0; n < cell.references.count; n++) {
      const reference = referenceAt(cell.references, n);
      const steps = [...reference.columnStepDbu, ...reference.rowStepDbu];
      const properties = [...reference.properties].map(([key, value]) => `${key}=${cut(value)}`).sort();
      lines.push(
        `reference ${cut(reference.cell)} [${reference.transform.map(fixed)}] ${reference.columns} x ` +
          `${reference.rows} by [${steps.map(fixed)}] {${properties}}`,
      );
    }
    cells.set(cut(cell.name), lines.sort());
  }
  return cells;
}
