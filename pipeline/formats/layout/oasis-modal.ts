/**
 * The modal variables: values that records leave out because an earlier one in the cell gave them.
 *
 * @source SEMI P39 (OASIS), section 10.
 */
import type { OasisCursor } from './oasis-cursor.ts';
import { FETCH_AGAIN } from './oasis-cursor.ts';
import { PointList } from './oasis-point-list.ts';
import { Repetition } from './oasis-repetition.ts';

/** What a variable holds while it is undefined: none of them can be negative, extensions apart. */
const UNDEFINED = -1;

export class Modal {
  readonly repetition = new Repetition();
  readonly polygonPoints = new PointList();
  readonly pathPoints = new PointList();
  isRelative = false;
  placementX = 0;
  placementY = 0;
  geometryX = 0;
  geometryY = 0;
  textX = 0;
  textY = 0;
  /** Key of the cell, see `NameTables`. */
  placementCell: string | undefined;
  textString: string | number | undefined;
  layer = UNDEFINED;
  datatype = UNDEFINED;
  textLayer = UNDEFINED;
  textType = UNDEFINED;
  width = UNDEFINED;
  height = UNDEFINED;
  halfWidth = UNDEFINED;
  trapezoidKind = UNDEFINED;
  radius = UNDEFINED;
  /** NaN while undefined. */
  beginExtension = Number.NaN;
  endExtension = Number.NaN;

  /** At the start of the file, of a cell and of a name record nothing is defined but positions, which are 0. */
  reset(): void {
    this.repetition.isDefined = false;
    this.polygonPoints.isDefined = false;
    this.pathPoints.isDefined = false;
    this.isRelative = false;
    this.placementX = 0;
    this.placementY = 0;
    this.geometryX = 0;
    this.geometryY = 0;
    this.textX = 0;
    this.textY = 0;
    this.placementCell = undefined;
    this.textString = undefined;
    this.layer = UNDEFINED;
    this.datatype = UNDEFINED;
    this.textLayer = UNDEFINED;
    this.textType = UNDEFINED;
    this.width = UNDEFINED;
    this.height = UNDEFINED;
    this.halfWidth = UNDEFINED;
    this.trapezoidKind = UNDEFINED;
    this.radius = UNDEFINED;
    this.beginExtension = Number.NaN;
    this.endExtension = Number.NaN;
  }
}

export function failUndefined(cursor: OasisCursor, variable: string): never {
  const expected = `${variable}, or an earlier record of the cell that gives it`;
  return cursor.fail('malformed', expected, 'neither', FETCH_AGAIN);
}
