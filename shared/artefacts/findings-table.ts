/** Findings as rows of a table: one list of columns for the archive's file and for the one that a page offers. */
import type { CsvValue } from '../csv.ts';
import type { Findings } from './findings.ts';

type Finding = Findings['findings'][number];

const COLUMNS: readonly (readonly [name: string, of: (finding: Finding) => readonly CsvValue[]])[] = [
  ['id', (f) => [f.id]],
  ['kind', (f) => [f.kind]],
  ['layer', (f) => [f.layer]],
  ['x_um y_um', (f) => f.centre_um],
  ['x0_um y0_um x1_um y1_um', (f) => f.box_um],
  ['area_um2', (f) => [f.area_um2]],
  ['probability', (f) => [f.probability]],
  ['nets', (f) => [f.nets.join(' ')]],
  ['note', (f) => [f.note]],
];

export const findingColumns: readonly string[] = COLUMNS.flatMap(([names]) => names.split(' '));

/** One cell for every column. */
export const findingCells = (finding: Finding): CsvValue[] => COLUMNS.flatMap(([, of]) => of(finding));
