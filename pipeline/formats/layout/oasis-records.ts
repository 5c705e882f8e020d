/**
 * The records of OASIS by number.
 *
 * @source SEMI P39 (OASIS), record ids as two further public readers have them.
 */
export const RECORD = {
  PAD: 0,
  START: 1,
  END: 2,
  CELLNAME: 3,
  CELLNAME_NUMBERED: 4,
  TEXTSTRING: 5,
  TEXTSTRING_NUMBERED: 6,
  PROPNAME: 7,
  PROPNAME_NUMBERED: 8,
  PROPSTRING: 9,
  PROPSTRING_NUMBERED: 10,
  LAYERNAME_SHAPES: 11,
  LAYERNAME_TEXTS: 12,
  CELL_NUMBERED: 13,
  CELL: 14,
  XYABSOLUTE: 15,
  XYRELATIVE: 16,
  PLACEMENT: 17,
  PLACEMENT_ANY: 18,
  TEXT: 19,
  RECTANGLE: 20,
  POLYGON: 21,
  PATH: 22,
  TRAPEZOID_AB: 23,
  TRAPEZOID_A: 24,
  TRAPEZOID_B: 25,
  CTRAPEZOID: 26,
  CIRCLE: 27,
  PROPERTY: 28,
  PROPERTY_REPEAT: 29,
  XNAME: 30,
  XNAME_NUMBERED: 31,
  XELEMENT: 32,
  XGEOMETRY: 33,
  CBLOCK: 34,
} as const;

export const LAST_RECORD = RECORD.CBLOCK;

const NAMES: string[] = [];
for (const [name, code] of Object.entries(RECORD)) NAMES[code] = name.replace(/_.*/, '');

export const recordName = (code: number): string => NAMES[code] ?? `unknown record ${code}`;
