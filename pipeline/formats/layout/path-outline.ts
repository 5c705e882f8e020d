/**
 * The polygon that a path covers. GDSII names widths and ends but not joins; here they are as is common practice
 * (no source): mitred, and where a turn is sharper than a right angle the spike is cut square at half the width
 * beyond the corner.
 *
 * The result fills exactly the union of its segments, joins and ends under the non-zero rule, whatever the
 * centre line does: it winds counter-clockwise round every covered point, once or (at crossings) more often.
 */
import { PATH_ENDS, type PathBlock } from '../layout.ts';

/** Turns this near a right angle count as one: both diagonal directions carry rounding. */
const RIGHT_ANGLE_SLACK = 1e-9;
/** Turns this near to right about count as such: the quotient of two rounding errors says nothing. */
const RIGHT_ABOUT_SLACK = 1e-9;
/** Half circles get at most this many chords: their error is then below 1/20000 of the width. */
const MAXIMUM_CHORDS = 128;
const EMPTY = new Float64Array(0);

export interface PathEndsDbu {
  readonly ends: number;
  /** Read only for explicit ends; may be negative. */
  readonly beginDbu: number;
  readonly endDbu: number;
}

/** Outline of path n of a block inside its cell; an absolute width is divided by the magnification. */
export function blockPathOutline(block: PathBlock, n: number, magnification: number): Float64Array {
  const width = block.widthsDbu[n];
  const xy = block.xy.subarray(2 * block.starts[n], 2 * block.starts[n + 1]);
  return pathOutline(xy, block.widthIsAbsolute[n] === 1 ? width / magnification : width, {
    ends: block.ends[n],
    beginDbu: block.extensionsDbu[2 * n],
    endDbu: block.extensionsDbu[2 * n + 1],
  });
}

/**
 * @param xy centre line, x0, y0, x1, y1 ...
 * @returns x0, y0, x1, y1 ... of the closed outline, counter-clockwise; empty where the path covers nothing
 */
export function pathOutline(xy: ArrayLike<number>, widthDbu: number, how: PathEndsDbu): Float64Array {
  const half = widthDbu / 2;
  const line = new CentreLine(xy);
  if (!(half > 0) || line.count === 0) return EMPTY;
  const [begin, end] = extensions(how, half);
  const isPoint = line.count === 1 && how.ends !== PATH_ENDS.round;
  if ((isPoint && !(begin > 0) && !(end > 0)) || !line.extend(begin, end)) return EMPTY;
  line.measure();
  const right: number[] = [];
  const left: number[] = [];
  const last = line.count - 1;
  offsetPair(left, right, line, 0, 0, half);
  for (let n = 1; n < last; n++) join(left, right, line, n, half);
  offsetPair(left, right, line, last, last - 1, half);

  const outline = right;
  if (how.ends === PATH_ENDS.round) halfCircle(outline, line, last, last - 1, half, 1);
  for (let n = left.length - 2; n >= 0; n -= 2) outline.push(left[n], left[n + 1]);
  if (how.ends === PATH_ENDS.round) halfCircle(outline, line, 0, 0, half, -1);
  return Float64Array.from(outline);
}

function extensions(how: PathEndsDbu, half: number): readonly [number, number] {
  if (how.ends === PATH_ENDS.halfWidth) return [half, half];
  return how.ends === PATH_ENDS.explicit ? [how.beginDbu, how.endDbu] : [0, 0];
}

/** Centre line without repeated places and straight-on vertices, with unit directions of its segments. */
class CentreLine {
  readonly x: number[] = [];
  readonly y: number[] = [];
  /** Direction and length of the segment from vertex n to n + 1. */
  readonly dx: number[] = [];
  readonly dy: number[] = [];
  readonly length: number[] = [];

  constructor(xy: ArrayLike<number>) {
    for (let n = 0; n + 1 < xy.length; n += 2) this.#add(xy[n], xy[n + 1]);
  }

  get count(): number {
    return this.x.length;
  }

  #add(x: number, y: number): void {
    const n = this.count;
    if (n > 0 && x === this.x[n - 1] && y === this.y[n - 1]) return;
    if (n > 1) {
      const ux = this.x[n - 1] - this.x[n - 2];
      const uy = this.y[n - 1] - this.y[n - 2];
      const vx = x - this.x[n - 1];
      const vy = y - this.y[n - 1];
      if (ux * vy === uy * vx && ux * vx + uy * vy > 0) {
        this.x[n - 1] = x;
        this.y[n - 1] = y;
        return;
      }
    }
    this.x.push(x);
    this.y.push(y);
  }

  /** Moves the ends outwards; a negative extension shortens the end segments, at most to nothing. */
  extend(begin: number, end: number): boolean {
    if (this.count === 1) {
      // A single place has no direction: its ends lie along X (common practice, no source).
      this.x.push(this.x[0] + Math.max(end, 0));
      this.y.push(this.y[0]);
      this.x[0] -= Math.max(begin, 0);
    } else {
      const n = this.count - 1;
      const first = Math.hypot(this.x[1] - this.x[0], this.y[1] - this.y[0]);
      const last = Math.hypot(this.x[n] - this.x[n - 1], this.y[n] - this.y[n - 1]);
      if (n === 1 && begin + end <= -first) return false;
      const ux = (this.x[1] - this.x[0]) / first;
      const uy = (this.y[1] - this.y[0]) / first;
      const vx = (this.x[n] - this.x[n - 1]) / last;
      const vy = (this.y[n] - this.y[n - 1]) / last;
      const back = n === 1 ? begin : Math.max(begin, -first);
      const on = n === 1 ? end : Math.max(end, -last);
      this.x[0] -= back * ux;
      this.y[0] -= back * uy;
      this.x[n] += on * vx;
      this.y[n] += on * vy;
      // An end segment shortened to nothing leaves its end at the next vertex.
      if (back === -first && n > 1) this.#drop(0);
      if (on === -last && this.count > 1) this.#drop(this.count - 1);
    }
    return this.count > 1;
  }

  #drop(n: number): void {
    this.x.splice(n, 1);
    this.y.splice(n, 1);
  }

  measure(): void {
    const { x, y, dx, dy, length } = this;
    for (let n = 0; n + 1 < this.count; n++) {
      length[n] = Math.hypot(x[n + 1] - x[n], y[n + 1] - y[n]);
      dx[n] = length[n] > 0 ? (x[n + 1] - x[n]) / length[n] : 1;
      dy[n] = length[n] > 0 ? (y[n + 1] - y[n]) / length[n] : 0;
    }
  }

  turn(n: number): { cross: number; dot: number } {
    const { dx, dy } = this;
    return {
      cross: dx[n - 1] * dy[n] - dy[n - 1] * dx[n],
      dot: dx[n - 1] * dx[n] + dy[n - 1] * dy[n],
    };
  }
}

function offsetPair(
  left: number[],
  right: number[],
  line: CentreLine,
  n: number,
  segment: number,
  by: number,
): void {
  const ox = -line.dy[segment] * by;
  const oy = line.dx[segment] * by;
  left.push(line.x[n] + ox, line.y[n] + oy);
  right.push(line.x[n] - ox, line.y[n] - oy);
}

/**
 * How much of each segment beside vertex n the corner inside the turn takes up, half x tan(turn / 2), on the left
 * side (sense 1) or the right side (sense -1); 0 where the turn is to the other side.
 */
function innerReach(line: CentreLine, n: number, half: number, sense: 1 | -1): number {
  if (n === 0 || n === line.count - 1) return 0;
  const { cross, dot } = line.turn(n);
  if (cross * sense < 0) return 0;
  return dot > -1 + RIGHT_ABOUT_SLACK ? (half * Math.abs(cross)) / (1 + dot) : Infinity;
}

/** Whether the corner inside the turn at vertex n would run past a neighbouring corner or end. */
function isTight(line: CentreLine, n: number, half: number, sense: 1 | -1): boolean {
  const reach = innerReach(line, n, half, sense);
  return (
    reach + innerReach(line, n - 1, half, sense) > line.length[n - 1] ||
    reach + innerReach(line, n + 1, half, sense) > line.length[n]
  );
}

function join(left: number[], right: number[], line: CentreLine, n: number, half: number): void {
  const { cross, dot } = line.turn(n);
  const x = line.x[n];
  const y = line.y[n];
  const turnsLeft = cross >= 0;
  const inner = turnsLeft ? left : right;
  const outer = turnsLeft ? right : left;
  // Normals towards the outside of the turn.
  const side = turnsLeft ? half : -half;
  const ax = line.dy[n - 1] * side;
  const ay = -line.dx[n - 1] * side;
  const bx = line.dy[n] * side;
  const by = -line.dx[n] * side;
  if (isTight(line, n, half, turnsLeft ? 1 : -1)) {
    // By way of the vertex itself: the overlap of the two segments is then wound twice, never the wrong way round.
    inner.push(x - ax, y - ay, x, y, x - bx, y - by);
  } else {
    inner.push(x - (ax + bx) / (1 + dot), y - (ay + by) / (1 + dot));
  }
  if (dot < -RIGHT_ANGLE_SLACK) {
    const { dx, dy } = line;
    outer.push(x + ax + half * dx[n - 1], y + ay + half * dy[n - 1]);
    outer.push(x + bx - half * dx[n], y + by - half * dy[n]);
  } else {
    outer.push(x + (ax + bx) / (1 + dot), y + (ay + by) / (1 + dot));
  }
}

/** Inner vertices of a half circle round vertex n, from the right side to the left for sense 1. */
function halfCircle(
  outline: number[],
  line: CentreLine,
  n: number,
  segment: number,
  half: number,
  sense: 1 | -1,
): void {
  // Sagitta of a chord over the angle a: r (1 - cos(a / 2)), kept below a dbu and below 1/64 of the width.
  const error = Math.min(1, half / 32);
  const chords = Math.min(MAXIMUM_CHORDS, Math.ceil(Math.PI / (2 * Math.acos(1 - error / half))));
  const ux = line.dx[segment] * half * sense;
  const uy = line.dy[segment] * half * sense;
  for (let c = 1; c < chords; c++) {
    const angle = (Math.PI * c) / chords;
    // Starts at the right of the direction (ux, uy) and turns counter-clockwise.
    const along = Math.sin(angle);
    const across = Math.cos(angle);
    outline.push(line.x[n] + along * ux + across * uy, line.y[n] + along * uy - across * ux);
  }
}
