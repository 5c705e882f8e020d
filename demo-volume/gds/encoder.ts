/** Writes a layout library as GDSII Stream, release 6. @source GDSII Stream Format, syntax and record table. */
import type { Cell, Label, Library, Reference, Shape } from '../layout/library.ts';
import { encodeReal8 } from './real8.ts';
import { RECORD, STRANS_REFLECT } from './record-types.ts';

/** Year, month, day, hour, minute, second of change and access: fixed, so that equal drawings are equal files. */
const DATE = [2026, 1, 1, 0, 0, 0, 2026, 1, 1, 0, 0, 0];

/** Largest number of coordinate pairs that one XY record holds. */
const MAX_POINTS = 8191;

class RecordWriter {
  readonly #parts: Uint8Array[] = [];

  raw(type: number, data: Uint8Array): void {
    const length = data.length + 4;
    if (length > 0xffff) throw new RangeError(`a GDSII record of ${length} bytes is too long`);
    const bytes = new Uint8Array(length);
    new DataView(bytes.buffer).setUint16(0, length);
    new DataView(bytes.buffer).setUint16(2, type);
    bytes.set(data, 4);
    this.#parts.push(bytes);
  }
  none(type: number): void {
    this.raw(type, new Uint8Array(0));
  }
  int16(type: number, ...values: number[]): void {
    const data = new DataView(new ArrayBuffer(2 * values.length));
    values.forEach((v, i) => {
      data.setUint16(2 * i, v & 0xffff);
    });
    this.raw(type, new Uint8Array(data.buffer));
  }
  int32(type: number, values: readonly number[]): void {
    const data = new DataView(new ArrayBuffer(4 * values.length));
    values.forEach((v, i) => {
      if (!Number.isInteger(v)) throw new RangeError(`a GDSII coordinate must be an integer, not ${v}`);
      data.setInt32(4 * i, v);
    });
    this.raw(type, new Uint8Array(data.buffer));
  }
  real8(type: number, ...values: number[]): void {
    const data = new Uint8Array(8 * values.length);
    values.forEach((v, i) => {
      data.set(encodeReal8(v), 8 * i);
    });
    this.raw(type, data);
  }
  ascii(type: number, text: string): void {
    const data = new Uint8Array(text.length + (text.length % 2));
    for (let i = 0; i < text.length; i++) data[i] = text.charCodeAt(i);
    this.raw(type, data);
  }
  bytes(): Uint8Array {
    const out = new Uint8Array(this.#parts.reduce((n, p) => n + p.length, 0));
    let at = 0;
    for (const part of this.#parts) {
      out.set(part, at);
      at += part.length;
    }
    return out;
  }
}

function layerAndType(writer: RecordWriter, pair: string, type: number): void {
  const [layer, datatype] = pair.split('/').map(Number) as [number, number];
  writer.int16(RECORD.LAYER, layer);
  writer.int16(type, datatype);
}

function writeShape(writer: RecordWriter, shape: Shape): void {
  if (shape.kind === 'boundary') {
    if (shape.ring.length / 2 + 1 > MAX_POINTS) throw new RangeError('a boundary has too many points');
    writer.none(RECORD.BOUNDARY);
    layerAndType(writer, shape.layer, RECORD.DATATYPE);
    writer.int32(RECORD.XY, [...shape.ring, shape.ring[0] as number, shape.ring[1] as number]);
  } else {
    writer.none(RECORD.PATH);
    layerAndType(writer, shape.layer, RECORD.DATATYPE);
    if (shape.ends !== 0) writer.int16(RECORD.PATHTYPE, shape.ends);
    writer.int32(RECORD.WIDTH, [shape.width]);
    if (shape.ends === 4) {
      writer.int32(RECORD.BGNEXTN, [shape.begin ?? 0]);
      writer.int32(RECORD.ENDEXTN, [shape.end ?? 0]);
    }
    writer.int32(RECORD.XY, shape.line);
  }
  writer.none(RECORD.ENDEL);
}

function writeReference(writer: RecordWriter, ref: Reference): void {
  const array = ref.columns > 1 || ref.rows > 1;
  writer.none(array ? RECORD.AREF : RECORD.SREF);
  writer.ascii(RECORD.SNAME, ref.cell);
  if (ref.mirror || ref.angleDeg !== 0 || ref.mag !== 1) {
    writer.int16(RECORD.STRANS, ref.mirror ? STRANS_REFLECT : 0);
    if (ref.mag !== 1) writer.real8(RECORD.MAG, ref.mag);
    if (ref.angleDeg !== 0) writer.real8(RECORD.ANGLE, ref.angleDeg);
  }
  if (array) {
    writer.int16(RECORD.COLROW, ref.columns, ref.rows);
    writer.int32(RECORD.XY, [
      ref.x,
      ref.y,
      ref.x + ref.columns * ref.columnStep[0],
      ref.y + ref.columns * ref.columnStep[1],
      ref.x + ref.rows * ref.rowStep[0],
      ref.y + ref.rows * ref.rowStep[1],
    ]);
  } else writer.int32(RECORD.XY, [ref.x, ref.y]);
  writer.none(RECORD.ENDEL);
}

function writeLabel(writer: RecordWriter, label: Label): void {
  writer.none(RECORD.TEXT);
  layerAndType(writer, label.layer, RECORD.TEXTTYPE);
  // Middle of the text on its point: vertical 1, horizontal 1.
  writer.int16(RECORD.PRESENTATION, 0x0005);
  writer.int32(RECORD.XY, [label.x, label.y]);
  writer.ascii(RECORD.STRING, label.text);
  writer.none(RECORD.ENDEL);
}

function writeCell(writer: RecordWriter, cell: Cell): void {
  writer.int16(RECORD.BGNSTR, ...DATE);
  writer.ascii(RECORD.STRNAME, cell.name);
  for (const shape of cell.shapes) writeShape(writer, shape);
  for (const ref of cell.references) writeReference(writer, ref);
  for (const label of cell.labels) writeLabel(writer, label);
  writer.none(RECORD.ENDSTR);
}

/** The bytes of a GDSII file. RangeError for a coordinate that is no integer or a record that is too long. */
export function encodeGds(library: Library): Uint8Array {
  const writer = new RecordWriter();
  writer.int16(RECORD.HEADER, 600);
  writer.int16(RECORD.BGNLIB, ...DATE);
  writer.ascii(RECORD.LIBNAME, library.name);
  // Database unit in user units (micrometres), then in metres.
  writer.real8(RECORD.UNITS, library.dbuUm, Number(`${library.dbuUm}e-6`));
  for (const cell of library.cells.values()) writeCell(writer, cell);
  writer.none(RECORD.ENDLIB);
  return writer.bytes();
}
