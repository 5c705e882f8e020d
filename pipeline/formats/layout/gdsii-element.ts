/** Reads the records inside one GDSII element and hands the finished element to the cell being built. */
import type { InputTag } from '../../../shared/errors.ts';
import type { PathEnds } from '../layout.ts';
import type { CellBuilder } from './cell-builder.ts';
import type { GdsiiTally } from './gdsii-notes.ts';
import { readText } from './gdsii-text.ts';
import { placementTransform } from './orientation.ts';
import { readReal8 } from './real8.ts';
import { PLACE, RECORD, recordName } from './record-types.ts';

/** Raises an InputFault at the record being read. */
export type Fail = (tag: InputTag, expected: string, found: string, remedy: string) => never;

/** STRANS bits. @source GDS II Stream Format Manual 6.0: bit 0 is the leftmost of the two bytes. */
const REFLECTED = 0x8000;
const ABSOLUTE_MAGNIFICATION = 0x0004;
const ABSOLUTE_ANGLE = 0x0002;

const NO_STEPS = [0, 0, 0, 0] as const;
const MEND = 'Correct the element in the program that wrote the file.';

/** The record that states datatype, texttype, nodetype or boxtype. */
function typeRecordOf(kind: number): number {
  if (kind === RECORD.BOX) return RECORD.BOXTYPE;
  if (kind === RECORD.NODE) return RECORD.NODETYPE;
  return kind === RECORD.TEXT ? RECORD.TEXTTYPE : RECORD.DATATYPE;
}

/** One object serves all elements of a file in turn. */
export class ElementReader {
  readonly #builder: CellBuilder;
  readonly #tally: GdsiiTally;
  readonly #fail: Fail;
  #kind: number = RECORD.BOUNDARY;
  /** -1 while not read, as is the type. */
  #layer = -1;
  #type = -1;
  #width = 0;
  #pathType = 0;
  #beginExtension = 0;
  #endExtension = 0;
  #strans = 0;
  #magnification = 1;
  #angleDeg = 0;
  #name = '';
  #text: string | undefined;
  #columns = 0;
  #rows = 0;
  #x = 0;
  #y = 0;
  #propertyKey = 0;

  constructor(builder: CellBuilder, tally: GdsiiTally, fail: Fail) {
    this.#builder = builder;
    this.#tally = tally;
    this.#fail = fail;
  }

  start(kind: number): void {
    this.#kind = kind;
    this.#layer = -1;
    this.#type = -1;
    this.#width = 0;
    this.#pathType = 0;
    this.#beginExtension = 0;
    this.#endExtension = 0;
    this.#strans = 0;
    this.#magnification = 1;
    this.#angleDeg = 0;
    this.#name = '';
    this.#text = undefined;
    this.#columns = 0;
    this.#rows = 0;
  }

  /** Takes in a record of the element other than XY, PROPATTR, PROPVALUE and ENDEL. */
  field(code: number, bytes: Buffer, view: DataView, from: number, to: number): void {
    switch (code) {
      case RECORD.LAYER:
        // Numbers above 32767 are met, written as if the field had no sign.
        this.#layer = view.getUint16(from);
        return;
      case RECORD.DATATYPE:
      case RECORD.TEXTTYPE:
      case RECORD.NODETYPE:
      case RECORD.BOXTYPE:
        this.#type = view.getUint16(from);
        return;
      case RECORD.SNAME:
        this.#name = readText(bytes, from, to);
        return;
      case RECORD.STRANS:
        this.#strans = view.getUint16(from);
        return;
      case RECORD.MAG:
        this.#magnification = readReal8(view, from);
        // On a TEXT it is the size of the writing, which nothing here depends on.
        if (this.#kind !== RECORD.TEXT && !(this.#magnification > 0)) {
          this.#fail('malformed', 'a magnification above 0', `${this.#magnification}`, MEND);
        }
        return;
      case RECORD.ANGLE:
        this.#angleDeg = readReal8(view, from);
        return;
      case RECORD.COLROW:
        this.#columnsAndRows(view.getInt16(from), view.getInt16(from + 2));
        return;
      case RECORD.PATHTYPE:
        this.#pathType = view.getUint16(from);
        return;
      case RECORD.WIDTH:
        this.#width = view.getInt32(from);
        return;
      case RECORD.BGNEXTN:
        this.#beginExtension = view.getInt32(from);
        return;
      case RECORD.ENDEXTN:
        this.#endExtension = view.getInt32(from);
        return;
      case RECORD.STRING:
        this.#text = readText(bytes, from, to);
    }
  }

  /** Name of the referenced cell as read so far. */
  get referencedName(): string {
    return this.#name;
  }

  /** Takes in XY, which by the syntax comes after everything it depends on. @returns the place after it */
  xy(view: DataView, from: number, to: number): number {
    const kind = this.#kind;
    if (kind === RECORD.SREF || kind === RECORD.AREF) {
      this.#reference(view, from, (to - from) / 8);
      return PLACE.afterXy;
    }
    if (this.#layer < 0) this.#fail('malformed', 'LAYER before XY', 'none', MEND);
    if (this.#type < 0) this.#fail('malformed', `${recordName(typeRecordOf(kind))} before XY`, 'none', MEND);
    switch (kind) {
      case RECORD.BOX:
        this.#tally.boxes++;
        this.#polygon(view, from, to);
        return PLACE.afterXy;
      case RECORD.PATH:
        this.#path(view, from, to);
        return PLACE.afterXy;
      case RECORD.NODE:
        this.#tally.nodes++;
        return PLACE.afterXy;
      case RECORD.TEXT:
        if (to - from !== 8) this.#fail('malformed', 'one point for a TEXT', `${(to - from) / 8}`, MEND);
        this.#x = view.getInt32(from);
        this.#y = view.getInt32(from + 4);
        return PLACE.textAfterXy;
      default:
        this.#polygon(view, from, to);
        return PLACE.afterXy;
    }
  }

  propertyKey(key: number): void {
    this.#propertyKey = key;
  }

  /** @returns the place after it */
  propertyValue(value: string): number {
    if (this.#kind === RECORD.SREF || this.#kind === RECORD.AREF) {
      this.#builder.references.addProperty(this.#propertyKey, value);
    } else {
      this.#tally.shapeProperties++;
    }
    return this.#kind === RECORD.TEXT ? PLACE.textAfterXy : PLACE.afterXy;
  }

  end(): void {
    if (this.#kind !== RECORD.TEXT) return;
    if (this.#text === undefined) this.#fail('malformed', 'STRING before ENDEL', 'none', MEND);
    this.#builder.addLabel(this.#text, this.#layer, this.#type, this.#x, this.#y);
  }

  #polygon(view: DataView, from: number, to: number): void {
    const x0 = view.getInt32(from);
    const y0 = view.getInt32(from + 4);
    let end = to - 8;
    if (view.getInt32(end) !== x0 || view.getInt32(end + 4) !== y0) {
      this.#tally.openPolygons++;
      end = to;
    }
    const polygons = this.#builder.polygons(this.#layer, this.#type);
    polygons.xy.reserve((end - from) >> 2);
    const xy = polygons.xy.data;
    let used = polygons.xy.length;
    let previousX = 0;
    let previousY = 0;
    let twiceArea = 0;
    for (let at = from; at < end; at += 8) {
      const x = view.getInt32(at);
      const y = view.getInt32(at + 4);
      xy[used++] = x;
      xy[used++] = y;
      const dx = x - x0;
      const dy = y - y0;
      twiceArea += previousX * dy - previousY * dx;
      previousX = dx;
      previousY = dy;
    }
    if (twiceArea === 0) this.#flatPolygon(xy, polygons.xy.length, used);
    polygons.xy.length = used;
    polygons.endPolygon();
  }

  /** A polygon without signed area: folded, crossing itself evenly, or not a polygon at all. */
  #flatPolygon(xy: ArrayLike<number>, from: number, to: number): void {
    const places = new Set<string>();
    for (let n = from; n < to && places.size < 3; n += 2) places.add(`${xy[n]} ${xy[n + 1]}`);
    if (places.size < 3) {
      const expected = `a ${recordName(this.#kind)} with at least 3 distinct points`;
      this.#fail('malformed', expected, `${places.size}`, MEND);
    }
    this.#tally.flatPolygons++;
  }

  #path(view: DataView, from: number, to: number): void {
    const pathType = this.#pathType;
    if (pathType !== 0 && pathType !== 1 && pathType !== 2 && pathType !== 4) {
      this.#fail('unsupported', 'PATHTYPE 0, 1, 2 or 4', `${pathType}`, MEND);
    }
    const paths = this.#builder.paths(this.#layer, this.#type);
    paths.xy.reserve((to - from) >> 2);
    const xy = paths.xy.data;
    const first = paths.xy.length;
    let used = first;
    let isOnePoint = true;
    for (let at = from; at < to; at += 8) {
      xy[used] = view.getInt32(at);
      xy[used + 1] = view.getInt32(at + 4);
      if (xy[used] !== xy[first] || xy[used + 1] !== xy[first + 1]) isOnePoint = false;
      used += 2;
    }
    paths.xy.length = used;
    const width = this.#width;
    paths.endPath(Math.abs(width), width < 0, pathType as PathEnds, this.#beginExtension, this.#endExtension);
    if (width === 0) this.#tally.zeroWidthPaths++;
    else if (isOnePoint) this.#tally.onePointPaths++;
  }

  #columnsAndRows(columns: number, rows: number): void {
    if (columns < 1 || rows < 1) {
      this.#fail('malformed', 'at least 1 column and 1 row', `${columns} columns, ${rows} rows`, MEND);
    }
    this.#columns = columns;
    this.#rows = rows;
  }

  /** @source GDS II Stream Format Manual 6.0, AREF: the lattice points already lie in the parent. */
  #reference(view: DataView, from: number, points: number): void {
    const isArray = this.#kind === RECORD.AREF;
    const wanted = isArray ? 3 : 1;
    if (points !== wanted) {
      this.#fail('malformed', `${wanted} point(s) for ${recordName(this.#kind)}`, `${points}`, MEND);
    }
    if (this.#name === '') this.#fail('malformed', 'SNAME before XY', 'none', MEND);
    if (isArray && this.#columns === 0) this.#fail('malformed', 'COLROW before XY', 'none', MEND);
    const x = view.getInt32(from);
    const y = view.getInt32(from + 4);
    const columns = isArray ? this.#columns : 1;
    const rows = isArray ? this.#rows : 1;
    const magnification = this.#magnification;
    const isReflected = (this.#strans & REFLECTED) !== 0;
    this.#builder.references.add(
      this.#name,
      placementTransform(x, y, this.#angleDeg, magnification, isReflected),
      magnification,
      columns,
      rows,
      isArray
        ? [
            (view.getInt32(from + 8) - x) / columns,
            (view.getInt32(from + 12) - y) / columns,
            (view.getInt32(from + 16) - x) / rows,
            (view.getInt32(from + 20) - y) / rows,
          ]
        : NO_STEPS,
    );
    if ((this.#strans & ABSOLUTE_MAGNIFICATION) !== 0) this.#tally.absoluteMagnifications++;
    if ((this.#strans & ABSOLUTE_ANGLE) !== 0) this.#tally.absoluteAngles++;
  }
}
