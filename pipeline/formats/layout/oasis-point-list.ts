/**
 * Point lists of POLYGON and PATH records.
 *
 * @source SEMI P39 (OASIS), section 7.7: types 0 and 1 alternate between the axes and leave out the last vertex of
 * a polygon; 2 and 3 give a direction each; 4 any displacement; 5 the change of the displacement.
 */
import { FETCH_AGAIN, type OasisCursor } from './oasis-cursor.ts';

const LARGEST = Number.MAX_SAFE_INTEGER;

export class PointList {
  /** Vertices relative to the first, which is (0, 0) and is held too. */
  xy = new Float64Array(32);
  vertices = 0;
  /** Extent of the vertices. */
  x0 = 0;
  y0 = 0;
  x1 = 0;
  y1 = 0;
  /** Of the closed polygon; counts only as zero or not, for large numbers round. */
  twiceArea = 0;
  isDefined = false;
  /** Lists read so far, by type. */
  readonly counts = new Uint32Array(6);

  /** @param isPolygon whether the last vertex joins the first */
  read(cursor: OasisCursor, isPolygon: boolean): void {
    const type = cursor.unsigned();
    const count = cursor.unsigned();
    if (type > 5) cursor.fail('malformed', 'a point list of type 0 to 5', `type ${type}`, FETCH_AGAIN);
    this.counts[type]++;
    cursor.count(count, 'points');
    if (2 * (count + 2) > this.xy.length) this.xy = new Float64Array(4 * (count + 2));
    this.vertices = 1;
    this.xy[0] = 0;
    this.xy[1] = 0;
    if (type < 2) this.#alternating(cursor, count, type === 0, isPolygon);
    else this.#displaced(cursor, count, type);
    if (isPolygon) this.#close(cursor);
    else if (count === 0) cursor.fail('malformed', 'a PATH of at least 2 points', '1', FETCH_AGAIN);
    this.#measure(cursor);
    this.isDefined = true;
  }

  #alternating(cursor: OasisCursor, count: number, isHorizontalFirst: boolean, isPolygon: boolean): void {
    const { xy } = this;
    let x = 0;
    let y = 0;
    let isHorizontal = isHorizontalFirst;
    let at = 2;
    for (let n = 0; n < count; n++) {
      if (isHorizontal) x += cursor.signed();
      else y += cursor.signed();
      isHorizontal = !isHorizontal;
      xy[at++] = x;
      xy[at++] = y;
    }
    if (isPolygon) {
      if (count % 2 === 1) {
        cursor.fail(
          'malformed',
          'an even number of points in a list of type 0 or 1',
          `${count}`,
          FETCH_AGAIN,
        );
      }
      // The next displacement would lead back to the first point's line, and the closing edge along it.
      xy[at++] = isHorizontal ? 0 : x;
      xy[at++] = isHorizontal ? y : 0;
    }
    this.vertices = at >> 1;
  }

  #displaced(cursor: OasisCursor, count: number, type: number): void {
    const { xy } = this;
    let x = 0;
    let y = 0;
    let dx = 0;
    let dy = 0;
    for (let n = 1; n <= count; n++) {
      if (type === 2) cursor.plainDelta(2);
      else if (type === 3) cursor.plainDelta(3);
      else cursor.delta();
      if (type === 5) {
        dx += cursor.dx;
        dy += cursor.dy;
      } else {
        dx = cursor.dx;
        dy = cursor.dy;
      }
      x += dx;
      y += dy;
      xy[2 * n] = x;
      xy[2 * n + 1] = y;
    }
    this.vertices = count + 1;
  }

  /** A last vertex on the first is the same one. */
  #close(cursor: OasisCursor): void {
    const { xy } = this;
    const last = 2 * this.vertices - 2;
    if (last > 0 && xy[last] === 0 && xy[last + 1] === 0) this.vertices--;
    if (this.vertices < 3) {
      cursor.fail('malformed', 'a POLYGON of at least 3 points', `${this.vertices}`, FETCH_AGAIN);
    }
  }

  #measure(cursor: OasisCursor): void {
    const { xy, vertices } = this;
    let x0 = 0;
    let y0 = 0;
    let x1 = 0;
    let y1 = 0;
    let twiceArea = 0;
    for (let at = 2; at < 2 * vertices; at += 2) {
      const x = xy[at];
      const y = xy[at + 1];
      if (x < x0) x0 = x;
      else if (x > x1) x1 = x;
      if (y < y0) y0 = y;
      else if (y > y1) y1 = y;
      twiceArea += xy[at - 2] * y - xy[at - 1] * x;
    }
    if (!(x0 >= -LARGEST && y0 >= -LARGEST && x1 <= LARGEST && y1 <= LARGEST)) {
      cursor.fail('limit', 'coordinates below 2^53', 'larger ones', 'Write the file in a coarser grid.');
    }
    this.x0 = x0;
    this.y0 = y0;
    this.x1 = x1;
    this.y1 = y1;
    this.twiceArea = twiceArea;
  }
}
