/**
 * A small reader of GDSII Stream for imaging: boundaries, paths, boxes, references, arrays and labels. It shares no
 * code with the reader of the pipeline, so that a misreading cannot hide on both sides.
 * @source GDSII Stream Format, record table and syntax.
 */
import { DemoFault } from '../input-fault.ts';
import { type Cell, type Library, newCell, type PathEnds } from '../layout/library.ts';
import { decodeReal8 } from './real8.ts';
import { RECORD, STRANS_REFLECT } from './record-types.ts';

interface ElementState {
  readonly kind: number;
  layer: number;
  datatype: number;
  width: number;
  ends: PathEnds;
  begin: number;
  end: number;
  xy: number[];
  name: string;
  text: string;
  mirror: boolean;
  mag: number;
  angleDeg: number;
  columns: number;
  rows: number;
}

function freshElement(kind: number): ElementState {
  return {
    ...{ kind, layer: 0, datatype: 0, width: 0, ends: 0, begin: 0, end: 0, xy: [], name: '', text: '' },
    ...{ mirror: false, mag: 1, angleDeg: 0, columns: 1, rows: 1 },
  };
}

function closeElement(cell: Cell, e: ElementState, fail: (expected: string, found: string) => never): void {
  const pair = `${e.layer}/${e.datatype}`;
  const [x, y] = e.xy as [number, number];
  switch (e.kind) {
    case RECORD.BOUNDARY:
    case RECORD.BOX:
      if (e.xy.length < 8) fail('four points or more', `${e.xy.length / 2}`);
      // The last point repeats the first.
      cell.shapes.push({ kind: 'boundary', layer: pair, ring: e.xy.slice(0, -2) });
      return;
    case RECORD.PATH:
      cell.shapes.push({
        ...{ kind: 'path', layer: pair, line: e.xy, width: Math.abs(e.width), ends: e.ends },
        ...{ begin: e.begin, end: e.end },
      });
      return;
    case RECORD.TEXT:
      if (e.xy.length !== 2) fail('one point', `${e.xy.length / 2}`);
      cell.labels.push({ layer: pair, x, y, text: e.text });
      return;
    case RECORD.SREF:
    case RECORD.AREF: {
      const array = e.kind === RECORD.AREF;
      if (e.xy.length !== (array ? 6 : 2)) fail(array ? 'three points' : 'one point', `${e.xy.length / 2}`);
      if (e.columns < 1 || e.rows < 1) fail('columns and rows of 1 or more', `${e.columns}, ${e.rows}`);
      const step = (i: number, n: number): [number, number] =>
        array ? [((e.xy[i] as number) - x) / n, ((e.xy[i + 1] as number) - y) / n] : [0, 0];
      cell.references.push({
        ...{ cell: e.name, x, y, mirror: e.mirror, angleDeg: e.angleDeg, mag: e.mag },
        ...{ columns: e.columns, rows: e.rows, columnStep: step(2, e.columns), rowStep: step(4, e.rows) },
      });
      return;
    }
    default:
      return;
  }
}

/**
 * Reads a whole GDSII file.
 * @throws DemoFault for a file that ends early, a record of impossible length, or an element that makes no sense.
 */
export function decodeGds(bytes: Uint8Array, file: string): Library {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const cells = new Map<string, Cell>();
  let name = '';
  let dbuUm = 0;
  let cell: Cell | null = null;
  let element: ElementState | null = null;
  let at = 0;
  const fail = (expected: string, found: string): never => {
    throw new DemoFault({ file, place: `byte ${at}`, expected, found });
  };
  for (;;) {
    if (at + 4 > bytes.length) fail('a record up to ENDLIB', 'the end of the file');
    const length = view.getUint16(at);
    const type = view.getUint16(at + 2);
    if (length < 4 || length % 2 !== 0) fail('an even record length of 4 or more', `${length}`);
    if (at + length > bytes.length) fail(`a record of ${length} bytes`, `${bytes.length - at} bytes left`);
    const data = at + 4;
    const size = length - 4;
    const need = (n: number): void => {
      if (size < n) fail(`${n} bytes of data`, `${size}`);
    };
    const int16 = (i = 0): number => {
      need(2 * i + 2);
      return view.getInt16(data + 2 * i);
    };
    const int32 = (i = 0): number => {
      need(4 * i + 4);
      return view.getInt32(data + 4 * i);
    };
    const real = (i = 0): number => {
      need(8 * i + 8);
      return decodeReal8(view, data + 8 * i);
    };
    const ascii = (): string => {
      let end = data + size;
      while (end > data && bytes[end - 1] === 0) end--;
      return String.fromCharCode(...bytes.subarray(data, end));
    };
    switch (type) {
      case RECORD.LIBNAME:
        name = ascii();
        break;
      case RECORD.UNITS:
        dbuUm = real(1) * 1e6;
        if (!(dbuUm > 0)) fail('a database unit above zero', `${dbuUm}`);
        break;
      case RECORD.STRNAME:
        cell = newCell(ascii());
        cells.set(cell.name, cell);
        break;
      case RECORD.ENDSTR:
        cell = null;
        break;
      case RECORD.BOUNDARY:
      case RECORD.PATH:
      case RECORD.SREF:
      case RECORD.AREF:
      case RECORD.TEXT:
      case RECORD.BOX:
      case RECORD.NODE:
        element = freshElement(type);
        break;
      case RECORD.ENDEL:
        if (!cell || !element) fail('an element inside a structure', 'a stray ENDEL');
        closeElement(cell as unknown as Cell, element as unknown as ElementState, fail);
        element = null;
        break;
      case RECORD.ENDLIB:
        if (dbuUm === 0) fail('a UNITS record', 'none');
        return { name, dbuUm, cells };
      default:
        if (element) readInto(element, type, size, { int16, int32, real, ascii });
    }
    at += length;
  }
}

interface RecordData {
  int16(i?: number): number;
  int32(i?: number): number;
  real(i?: number): number;
  ascii(): string;
}

function readInto(e: ElementState, type: number, size: number, data: RecordData): void {
  switch (type) {
    case RECORD.LAYER:
      e.layer = data.int16();
      break;
    case RECORD.DATATYPE:
    case RECORD.TEXTTYPE:
    case RECORD.BOXTYPE:
      e.datatype = data.int16();
      break;
    case RECORD.WIDTH:
      e.width = data.int32();
      break;
    case RECORD.PATHTYPE: {
      const ends = data.int16();
      e.ends = ends === 1 || ends === 2 || ends === 4 ? ends : 0;
      break;
    }
    case RECORD.BGNEXTN:
      e.begin = data.int32();
      break;
    case RECORD.ENDEXTN:
      e.end = data.int32();
      break;
    case RECORD.XY:
      for (let i = 0; i < size >> 2; i++) e.xy.push(data.int32(i));
      break;
    case RECORD.SNAME:
      e.name = data.ascii();
      break;
    case RECORD.STRING:
      e.text = data.ascii();
      break;
    case RECORD.STRANS:
      e.mirror = (data.int16() & STRANS_REFLECT) !== 0;
      break;
    case RECORD.MAG:
      e.mag = data.real();
      break;
    case RECORD.ANGLE:
      e.angleDeg = data.real();
      break;
    case RECORD.COLROW:
      e.columns = data.int16(0);
      e.rows = data.int16(1);
      break;
    default:
      break;
  }
}
