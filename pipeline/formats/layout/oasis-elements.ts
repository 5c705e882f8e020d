/**
 * Reads the geometry records, RECTANGLE to CIRCLE and XGEOMETRY, after their record number.
 *
 * @source SEMI P39 (OASIS), sections 25 to 30 and 34; the letters of the info bytes are named beside each.
 */
import { PATH_ENDS, type PathEnds } from '../layout.ts';
import type { CellBuilder } from './cell-builder.ts';
import type { Budget } from './oasis-budget.ts';
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';
import { failUndefined, type Modal } from './oasis-modal.ts';
import type { OasisTally } from './oasis-notes.ts';
import { RECORD } from './oasis-records.ts';
import { type RelativeShape, ShapeWriter } from './oasis-shapes.ts';
import {
  brokenRule,
  CTRAPEZOID_KINDS,
  circle,
  compactTrapezoid,
  needsHeight,
  needsWidth,
  trapezoid,
} from './oasis-trapezoid.ts';

const MEND = 'Correct the element in the program that wrote the file.';
const LARGEST = Number.MAX_SAFE_INTEGER;

/** A shape of at most four corners, written over for each record. */
class SmallShape implements RelativeShape {
  readonly xy = new Float64Array(8);
  vertices = 4;
  readonly x0 = 0;
  readonly y0 = 0;
  x1 = 0;
  y1 = 0;
}

export class ElementReader {
  readonly #cursor: OasisCursor;
  readonly #modal: Modal;
  readonly #tally: OasisTally;
  readonly #shapes: ShapeWriter;
  readonly #small = new SmallShape();
  /** PATH records that state how they end. */
  extensionSchemes = 0;

  constructor(cursor: OasisCursor, modal: Modal, builder: CellBuilder, budget: Budget, tally: OasisTally) {
    this.#cursor = cursor;
    this.#modal = modal;
    this.#tally = tally;
    this.#shapes = new ShapeWriter(cursor, modal, builder, budget);
  }

  /** SWHXYRDL; S: a square, of which only the width is given. */
  rectangle(): void {
    const modal = this.#modal;
    const info = this.#layers();
    if ((info & 0x40) !== 0) modal.width = this.#cursor.unsigned();
    if ((info & 0x20) !== 0) modal.height = this.#cursor.unsigned();
    if ((info & 0x80) !== 0) {
      if ((info & 0x20) !== 0) this.#cursor.fail('malformed', 'a square without a height', 'one with', MEND);
      modal.height = modal.width;
    }
    this.#place(info);
    this.#fourCorners(info);
  }

  #fourCorners(info: number): void {
    const { width: w, height: h } = this.#modal;
    if (w < 0) failUndefined(this.#cursor, 'a width');
    if (h < 0) failUndefined(this.#cursor, 'a height');
    const { xy } = this.#small;
    xy[0] = 0;
    xy[1] = 0;
    xy[2] = w;
    xy[3] = 0;
    xy[4] = w;
    xy[5] = h;
    xy[6] = 0;
    xy[7] = h;
    this.#writeSmall(4, w, h, info);
  }

  #writeSmall(vertices: number, w: number, h: number, info: number): void {
    const small = this.#small;
    small.vertices = vertices;
    small.x1 = w;
    small.y1 = h;
    if (w === 0 || h === 0) this.#tally.flatPolygons++;
    this.#shapes.polygon(small, (info & 4) !== 0);
  }

  /** 00PXYRDL. */
  polygon(): void {
    const points = this.#modal.polygonPoints;
    const info = this.#layers(0xc0);
    if ((info & 0x20) !== 0) points.read(this.#cursor, true);
    this.#place(info);
    if (!points.isDefined) failUndefined(this.#cursor, 'a point list');
    if (points.twiceArea === 0) this.#tally.flatPolygons++;
    this.#shapes.polygon(points, (info & 4) !== 0);
  }

  /** EWPXYRDL; E: an extension scheme 0000SSEE. */
  path(): void {
    const cursor = this.#cursor;
    const modal = this.#modal;
    const info = this.#layers();
    if ((info & 0x40) !== 0) modal.halfWidth = cursor.unsigned();
    if (modal.halfWidth > LARGEST / 2) cursor.fail('limit', 'half widths below 2^52', 'a larger one', MEND);
    if ((info & 0x80) !== 0) {
      this.extensionSchemes++;
      const scheme = cursor.unsigned();
      if (scheme > 15) cursor.fail('malformed', 'an extension scheme of 0 to 15', `${scheme}`, FETCH_AGAIN);
      modal.beginExtension = this.#extension(scheme >> 2, modal.beginExtension);
      modal.endExtension = this.#extension(scheme & 3, modal.endExtension);
    }
    const points = modal.pathPoints;
    if ((info & 0x20) !== 0) points.read(cursor, false);
    this.#place(info);
    const { halfWidth, beginExtension, endExtension } = modal;
    if (halfWidth < 0) failUndefined(cursor, 'a half width');
    if (Number.isNaN(beginExtension) || Number.isNaN(endExtension))
      failUndefined(cursor, 'an extension scheme');
    if (!points.isDefined) failUndefined(cursor, 'a point list');
    let ends: PathEnds = PATH_ENDS.explicit;
    if (beginExtension === endExtension) {
      if (beginExtension === 0) ends = PATH_ENDS.flush;
      else if (beginExtension === halfWidth) ends = PATH_ENDS.halfWidth;
    }
    if (halfWidth === 0) this.#tally.zeroWidthPaths++;
    else if (points.x0 === points.x1 && points.y0 === points.y1) this.#tally.onePointPaths++;
    this.#shapes.path(points, (info & 4) !== 0, ends);
  }

  /**
   * The variable holds a length: half-width ends taken up again keep theirs whatever the new width. So from memory of
   * the standard and in a public C++ translation library; a public Python format library keeps the scheme instead.
   */
  #extension(scheme: number, last: number): number {
    if (scheme === 0) return last;
    if (scheme === 1) return 0;
    if (scheme === 3) return this.#cursor.signed();
    if (this.#modal.halfWidth < 0) failUndefined(this.#cursor, 'a half width');
    return this.#modal.halfWidth;
  }

  /** OWHXYRDL; O: upright. Records 24 and 25 leave out one of the two deltas, which is 0. */
  trapezoid(code: number): void {
    const cursor = this.#cursor;
    const modal = this.#modal;
    const info = this.#layers();
    this.#size(info);
    const a = code === RECORD.TRAPEZOID_B ? 0 : cursor.signed();
    const b = code === RECORD.TRAPEZOID_A ? 0 : cursor.signed();
    this.#place(info);
    const { width: w, height: h } = modal;
    if (w < 0) failUndefined(cursor, 'a width');
    if (h < 0) failUndefined(cursor, 'a height');
    const vertices = trapezoid((info & 0x80) !== 0, w, h, a, b, this.#small.xy);
    if (vertices === 0) {
      cursor.fail(
        'malformed',
        `sides of a ${w} x ${h} trapezoid that do not cross`,
        `deltas ${a}, ${b}`,
        MEND,
      );
    }
    this.#writeSmall(vertices, w, h, info);
  }

  /** TWHXYRDL. */
  compactTrapezoid(): void {
    const cursor = this.#cursor;
    const modal = this.#modal;
    const info = this.#layers();
    if ((info & 0x80) !== 0) modal.trapezoidKind = cursor.unsigned();
    this.#size(info);
    this.#place(info);
    const kind = modal.trapezoidKind;
    if (kind < 0) failUndefined(cursor, 'a CTRAPEZOID kind');
    if (kind >= CTRAPEZOID_KINDS) cursor.fail('malformed', 'a CTRAPEZOID kind of 0 to 25', `${kind}`, MEND);
    if (needsWidth(kind) && modal.width < 0) failUndefined(cursor, 'a width');
    if (needsHeight(kind) && modal.height < 0) failUndefined(cursor, 'a height');
    const w = needsWidth(kind) ? modal.width : 2 * modal.height;
    const h = needsHeight(kind) ? modal.height : (kind === 22 || kind === 23 ? 2 : 1) * modal.width;
    const rule = brokenRule(kind, w, h);
    if (rule !== undefined) cursor.fail('malformed', `${rule} in kind ${kind}`, `${w} x ${h}`, MEND);
    this.#writeSmall(compactTrapezoid(kind, w, h, this.#small.xy), w, h, info);
  }

  /** 00rXYRDL. */
  circle(): void {
    const modal = this.#modal;
    const info = this.#layers(0xc0);
    if ((info & 0x20) !== 0) modal.radius = this.#cursor.unsigned();
    this.#place(info);
    const r = modal.radius;
    if (r < 0) failUndefined(this.#cursor, 'a radius');
    this.#tally.circles++;
    if (r === 0) {
      this.#tally.flatPolygons++;
      return;
    }
    const xy = circle(r);
    const shape = { xy, vertices: xy.length >> 1, x0: -r, y0: -r, x1: r, y1: r };
    this.#shapes.polygon(shape, (info & 4) !== 0, false);
  }

  /** 000XYRDL, an attribute before and a string after the layers: read to step over it. */
  extension(): void {
    const cursor = this.#cursor;
    const info = cursor.byte();
    this.#reserved(info, 0xe0);
    cursor.unsigned();
    if ((info & 1) !== 0) this.#modal.layer = cursor.unsigned();
    if ((info & 2) !== 0) this.#modal.datatype = cursor.unsigned();
    cursor.raw(cursor.unsigned());
    this.#place(info);
    this.#tally.extensions++;
  }

  /** @param reserved bits of the info byte that have to be 0 */
  #layers(reserved = 0): number {
    const cursor = this.#cursor;
    const info = cursor.byte();
    if ((info & reserved) !== 0) this.#reserved(info, reserved);
    if ((info & 1) !== 0) this.#modal.layer = cursor.unsigned();
    if ((info & 2) !== 0) this.#modal.datatype = cursor.unsigned();
    return info;
  }

  #reserved(info: number, reserved: number): void {
    if ((info & reserved) === 0) return;
    const bits = info.toString(2).padStart(8, '0');
    this.#cursor.fail('malformed', 'an info byte with its reserved bits 0', bits, FETCH_AGAIN);
  }

  #size(info: number): void {
    if ((info & 0x40) !== 0) this.#modal.width = this.#cursor.unsigned();
    if ((info & 0x20) !== 0) this.#modal.height = this.#cursor.unsigned();
  }

  #place(info: number): void {
    const cursor = this.#cursor;
    const modal = this.#modal;
    if ((info & 0x10) !== 0) {
      const x = cursor.signed();
      modal.geometryX = modal.isRelative ? modal.geometryX + x : x;
    }
    if ((info & 8) !== 0) {
      const y = cursor.signed();
      modal.geometryY = modal.isRelative ? modal.geometryY + y : y;
    }
    if ((info & 4) !== 0) modal.repetition.read(cursor);
  }
}
