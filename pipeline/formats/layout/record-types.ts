/**
 * The records of GDSII Stream release 6: number, name, data type, payload size and the places where each may stand.
 *
 * @source GDS II Stream Format Manual 6.0 (1987), sections 3 to 5 (data types, record types, syntax).
 */

const DATA_TYPES = {
  none: 0,
  bits: 1,
  int16: 2,
  int32: 3,
  real8: 5,
  ascii: 6,
} as const;

export const DATA_TYPE_NAMES: readonly string[] = [
  'no data',
  'bit array',
  '2-byte integer',
  '4-byte integer',
  '4-byte real',
  '8-byte real',
  'text',
];

export const RECORD = {
  HEADER: 0x00,
  BGNLIB: 0x01,
  LIBNAME: 0x02,
  UNITS: 0x03,
  ENDLIB: 0x04,
  BGNSTR: 0x05,
  STRNAME: 0x06,
  ENDSTR: 0x07,
  BOUNDARY: 0x08,
  PATH: 0x09,
  SREF: 0x0a,
  AREF: 0x0b,
  TEXT: 0x0c,
  LAYER: 0x0d,
  DATATYPE: 0x0e,
  WIDTH: 0x0f,
  XY: 0x10,
  ENDEL: 0x11,
  SNAME: 0x12,
  COLROW: 0x13,
  TEXTNODE: 0x14,
  NODE: 0x15,
  TEXTTYPE: 0x16,
  PRESENTATION: 0x17,
  SPACING: 0x18,
  STRING: 0x19,
  STRANS: 0x1a,
  MAG: 0x1b,
  ANGLE: 0x1c,
  UINTEGER: 0x1d,
  USTRING: 0x1e,
  REFLIBS: 0x1f,
  FONTS: 0x20,
  PATHTYPE: 0x21,
  GENERATIONS: 0x22,
  ATTRTABLE: 0x23,
  STYPTABLE: 0x24,
  STRTYPE: 0x25,
  ELFLAGS: 0x26,
  ELKEY: 0x27,
  LINKTYPE: 0x28,
  LINKKEYS: 0x29,
  NODETYPE: 0x2a,
  PROPATTR: 0x2b,
  PROPVALUE: 0x2c,
  BOX: 0x2d,
  BOXTYPE: 0x2e,
  PLEX: 0x2f,
  BGNEXTN: 0x30,
  ENDEXTN: 0x31,
  TAPENUM: 0x32,
  TAPECODE: 0x33,
  STRCLASS: 0x34,
  RESERVED: 0x35,
  FORMAT: 0x36,
  MASK: 0x37,
  ENDMASKS: 0x38,
  LIBDIRSIZE: 0x39,
  SRFNAME: 0x3a,
  LIBSECUR: 0x3b,
} as const;

/** Where in the file's syntax the reader stands; each record may come in some of these places. */
export const PLACE = {
  start: 0,
  afterHeader: 1,
  library: 2,
  betweenStructures: 3,
  structureName: 4,
  structure: 5,
  boundary: 6,
  path: 7,
  sref: 8,
  aref: 9,
  text: 10,
  node: 11,
  box: 12,
  afterXy: 13,
  textAfterXy: 14,
  afterPropattr: 15,
  end: 16,
} as const;

/** Records the manual lists as unused or as private to a program: skipped wherever met. */
const ANYWHERE = -1;
/** Numbers beyond the manual that later programs use for themselves (from memory); skipped too. */
const LAST_PRIVATE_RECORD = 0x44;
const ELEMENTS_WITH_LAYER = ['boundary', 'path', 'text', 'node', 'box'] as const;
const ELEMENTS = [...ELEMENTS_WITH_LAYER, 'sref', 'aref'] as const;
const LIBRARY = ['library'] as const;

type PlaceName = keyof typeof PLACE;
/** Data type, payload bytes (null: any), places. */
type Rule = readonly [keyof typeof DATA_TYPES, number | null, readonly PlaceName[] | typeof ANYWHERE];

const RULES: Readonly<Record<keyof typeof RECORD, Rule>> = {
  HEADER: ['int16', 2, ['start']],
  BGNLIB: ['int16', null, ['afterHeader']],
  LIBNAME: ['ascii', null, LIBRARY],
  UNITS: ['real8', 16, LIBRARY],
  ENDLIB: ['none', 0, ['library', 'betweenStructures']],
  BGNSTR: ['int16', null, ['library', 'betweenStructures']],
  STRNAME: ['ascii', null, ['structureName']],
  ENDSTR: ['none', 0, ['structure']],
  BOUNDARY: ['none', 0, ['structure']],
  PATH: ['none', 0, ['structure']],
  SREF: ['none', 0, ['structure']],
  AREF: ['none', 0, ['structure']],
  TEXT: ['none', 0, ['structure']],
  LAYER: ['int16', 2, ELEMENTS_WITH_LAYER],
  DATATYPE: ['int16', 2, ['boundary', 'path']],
  WIDTH: ['int32', 4, ['path', 'text']],
  XY: ['int32', null, ELEMENTS],
  ENDEL: ['none', 0, ['afterXy', 'textAfterXy']],
  SNAME: ['ascii', null, ['sref', 'aref']],
  COLROW: ['int16', 4, ['aref']],
  TEXTNODE: ['none', null, ANYWHERE],
  NODE: ['none', 0, ['structure']],
  TEXTTYPE: ['int16', 2, ['text']],
  PRESENTATION: ['bits', 2, ['text']],
  SPACING: ['none', null, ANYWHERE],
  STRING: ['ascii', null, ['text', 'textAfterXy']],
  STRANS: ['bits', 2, ['sref', 'aref', 'text']],
  MAG: ['real8', 8, ['sref', 'aref', 'text']],
  ANGLE: ['real8', 8, ['sref', 'aref', 'text']],
  UINTEGER: ['none', null, ANYWHERE],
  USTRING: ['none', null, ANYWHERE],
  REFLIBS: ['ascii', null, LIBRARY],
  FONTS: ['ascii', null, LIBRARY],
  PATHTYPE: ['int16', 2, ['path', 'text']],
  GENERATIONS: ['int16', null, LIBRARY],
  ATTRTABLE: ['ascii', null, LIBRARY],
  STYPTABLE: ['none', null, ANYWHERE],
  STRTYPE: ['none', null, ANYWHERE],
  ELFLAGS: ['bits', 2, ELEMENTS],
  ELKEY: ['none', null, ANYWHERE],
  LINKTYPE: ['none', null, ANYWHERE],
  LINKKEYS: ['none', null, ANYWHERE],
  NODETYPE: ['int16', 2, ['node']],
  PROPATTR: ['int16', 2, ['afterXy', 'textAfterXy']],
  PROPVALUE: ['ascii', null, ['afterPropattr']],
  BOX: ['none', 0, ['structure']],
  BOXTYPE: ['int16', 2, ['box']],
  PLEX: ['int32', 4, ELEMENTS],
  BGNEXTN: ['int32', 4, ['path']],
  ENDEXTN: ['int32', 4, ['path']],
  TAPENUM: ['none', null, ANYWHERE],
  TAPECODE: ['none', null, ANYWHERE],
  STRCLASS: ['none', null, ANYWHERE],
  RESERVED: ['none', null, ANYWHERE],
  FORMAT: ['int16', null, LIBRARY],
  MASK: ['ascii', null, LIBRARY],
  ENDMASKS: ['none', 0, LIBRARY],
  LIBDIRSIZE: ['none', null, ANYWHERE],
  SRFNAME: ['none', null, ANYWHERE],
  LIBSECUR: ['none', null, ANYWHERE],
};

export const RECORD_NAMES: string[] = [];
/** Data type demanded of each record number; 255 where any will do because the record is skipped. */
export const DEMANDED_DATA_TYPE = new Uint8Array(256).fill(255);
/** Payload bytes demanded; -1 where any number will do. */
export const DEMANDED_SIZE = new Int32Array(256).fill(-1);
/** Skipped records may come between any two others, but neither before HEADER nor within a property. */
const SKIPPED_PLACES = ~((1 << PLACE.start) | (1 << PLACE.afterPropattr) | (1 << PLACE.end)) >>> 0;

/** Bit p set: the record may stand in place p. Numbers that no program is known to use have no bit. */
export const ALLOWED_PLACES = new Uint32Array(256);

for (const [name, code] of Object.entries(RECORD) as [keyof typeof RECORD, number][]) {
  const [dataType, size, places] = RULES[name];
  RECORD_NAMES[code] = name;
  if (places === ANYWHERE) {
    ALLOWED_PLACES[code] = SKIPPED_PLACES;
    continue;
  }
  DEMANDED_DATA_TYPE[code] = DATA_TYPES[dataType];
  DEMANDED_SIZE[code] = size ?? -1;
  for (const place of places) ALLOWED_PLACES[code] = (ALLOWED_PLACES[code] | (1 << PLACE[place])) >>> 0;
}
for (let code = RECORD_NAMES.length; code <= LAST_PRIVATE_RECORD; code++)
  ALLOWED_PLACES[code] = SKIPPED_PLACES;

export const isSkipped = (code: number): boolean => ALLOWED_PLACES[code] === SKIPPED_PLACES;

export const recordName = (code: number): string =>
  RECORD_NAMES[code] ?? `unknown record 0x${code.toString(16).padStart(2, '0')}`;

/** Names of the records that may stand in a place, for a message. */
export function recordsAllowedIn(place: number): string {
  const names: string[] = [];
  for (let code = 0; code < RECORD_NAMES.length; code++) {
    if (!isSkipped(code) && (ALLOWED_PLACES[code] >>> place) & 1) names.push(RECORD_NAMES[code]);
  }
  if (names.length < 2) return names.join();
  return `${names.slice(0, -1).join(', ')} or ${names.at(-1)}`;
}
