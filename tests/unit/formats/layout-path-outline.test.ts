/** Outlines of paths, against hand-worked polygons and against point-to-segment distances. */
import { describe, expect, it } from 'vitest';
import { pathOutline } from '../../../pipeline/formats/layout/path-outline.ts';
import { PATH_ENDS } from '../../../pipeline/formats/layout.ts';
import { polygonBox, signedArea, windingNumber } from '../../../shared/polygon.ts';
import { PathCoverage, type PathEnd } from '../../oracles/path-coverage.ts';

const outline = (xy: number[], width: number, ends: number, beginDbu = 0, endDbu = 0) =>
  pathOutline(xy, width, { ends, beginDbu, endDbu });

/** Starts at the smallest vertex, so that lists compare whatever the first vertex. */
function rotated(polygon: ArrayLike<number>): number[][] {
  const points: number[][] = [];
  for (let n = 0; n < polygon.length; n += 2) points.push([polygon[n], polygon[n + 1]]);
  const first = points.reduce((best, p, n) => {
    const b = points[best];
    return p[0] < b[0] || (p[0] === b[0] && p[1] < b[1]) ? n : best;
  }, 0);
  return [...points.slice(first), ...points.slice(0, first)];
}

describe('outline of a path, worked by hand', () => {
  // Ends: GDS II Stream Format Manual 6.0, PATHTYPE, BGNEXTN, ENDEXTN.
  it.each([
    ['flush', PATH_ENDS.flush, 0, 0, [0, -50, 1000, 50]],
    ['extended by half the width', PATH_ENDS.halfWidth, 0, 0, [-50, -50, 1050, 50]],
    ['extended as told', PATH_ENDS.explicit, 20, 70, [-20, -50, 1070, 50]],
    ['shortened', PATH_ENDS.explicit, -20, -70, [20, -50, 930, 50]],
    ['round', PATH_ENDS.round, 0, 0, [-50, -50, 1050, 50]],
  ])('%s ends', (_, ends, begin, end, box) => {
    const polygon = outline([0, 0, 1000, 0], 100, ends, begin, end);
    expect(polygonBox(polygon).map((value) => Math.round(value * 10) / 10)).toEqual(box);
    if (ends !== PATH_ENDS.round) expect(polygon).toHaveLength(8);
  });

  it('mitres a right-angled corner exactly', () => {
    expect(rotated(outline([0, 0, 1000, 0, 1000, 500], 100, PATH_ENDS.flush))).toEqual([
      [0, -50],
      [1050, -50],
      [1050, 500],
      [950, 500],
      [950, 50],
      [0, 50],
    ]);
  });

  it('is exact for every Manhattan direction, odd widths too', () => {
    const polygon = outline([0, 0, 0, -300, -200, -300, -200, 900], 15, PATH_ENDS.halfWidth);
    expect([...polygon].every((value) => Number.isInteger(2 * value))).toBe(true);
  });

  it('ignores repeated points and points on a straight run', () => {
    const plain = outline([0, 0, 900, 0, 900, 900], 40, PATH_ENDS.flush);
    const wordy = outline(
      [0, 0, 0, 0, 300, 0, 600, 0, 900, 0, 900, 0, 900, 450, 900, 900],
      40,
      PATH_ENDS.flush,
    );
    expect(wordy).toEqual(plain);
  });

  it('cuts the spike of a sharp turn', () => {
    // Back along a line 45 degrees off: a full mitre would reach 50 / tan(22.5 degrees) = 121 beyond the corner; the
    // corner of the second segment, run on by half the width, lies at 50 x (sqrt(1/2) + sqrt(1/2)).
    const box = polygonBox(outline([0, 0, 1000, 0, 0, 1000], 100, PATH_ENDS.flush));
    expect(box[2]).toBeCloseTo(1000 + 50 * Math.SQRT2, 9);
  });

  it('covers nothing without width, without length, or shortened away', () => {
    expect(outline([0, 0, 100, 0], 0, PATH_ENDS.halfWidth)).toHaveLength(0);
    expect(outline([5, 5], 100, PATH_ENDS.flush)).toHaveLength(0);
    expect(outline([5, 5, 5, 5], 100, PATH_ENDS.explicit)).toHaveLength(0);
    expect(outline([0, 0, 100, 0], 10, PATH_ENDS.explicit, -60, -60)).toHaveLength(0);
    expect(outline([], 100, PATH_ENDS.round)).toHaveLength(0);
  });

  it('a single place covers what its ends cover', () => {
    expect(polygonBox(outline([5, 6], 100, PATH_ENDS.halfWidth))).toEqual([-45, -44, 55, 56]);
    const disc = outline([5, 6], 100, PATH_ENDS.round);
    expect(signedArea(disc) / (Math.PI * 2500)).toBeGreaterThan(0.97);
    expect(polygonBox(disc).map(Math.round)).toEqual([-45, -44, 55, 56]);
  });

  it.each([2, 9, 64, 1000, 100_000, 10_000_000])('round ends of width %d stay near the circle', (width) => {
    const polygon = outline([0, 0, 3 * width, 0], width, PATH_ENDS.round);
    const half = width / 2;
    let worst = 0;
    for (let n = 0; n < polygon.length; n += 2) {
      const next = (n + 2) % polygon.length;
      const x = (polygon[n] + polygon[next]) / 2;
      const y = (polygon[n + 1] + polygon[next + 1]) / 2;
      if (x < 0) worst = Math.max(worst, half - Math.hypot(x, y));
    }
    expect(worst).toBeLessThanOrEqual(width / 64);
    if (width <= 1e4) expect(worst).toBeLessThanOrEqual(1);
  });
});

/** Mulberry32. */
function randomNumbers(seed: number): (below: number) => number {
  let state = seed;
  return (below) => {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return Math.floor((((t ^ (t >>> 14)) >>> 0) / 2 ** 32) * below);
  };
}

const MANHATTAN = [
  [1, 0],
  [0, 1],
  [-1, 0],
  [0, -1],
];
const DIAGONAL = [...MANHATTAN, [1, 1], [-1, 1], [-1, -1], [1, -1]];

function randomPath(
  below: (n: number) => number,
  directions: readonly number[][],
  longest: number,
): number[] {
  const xy = [below(200), below(200)];
  for (let n = 2 + below(5); n > 0; n--) {
    const [dx, dy] = directions[below(directions.length)];
    const step = 1 + below(longest);
    xy.push(xy[xy.length - 2] + dx * step, xy[xy.length - 1] + dy * step);
  }
  return xy;
}

/**
 * Samples points over the outline's surroundings: every point clearly inside or clearly outside by distances must be
 * so by the non-zero rule of the outline, and never wound the wrong way round. Returns covered samples.
 */
function compare(xy: number[], width: number, ends: number, end: PathEnd, slack: number): number {
  const polygon = outline(xy, width, ends, end.begin, end.end);
  const coverage = new PathCoverage(xy, width, end);
  const [x0, y0, x1, y1] = polygonBox(polygon);
  let covered = 0;
  for (let i = 0; i < 40; i++) {
    for (let j = 0; j < 40; j++) {
      const x = x0 - width + ((x1 - x0 + 2 * width) * (i + 0.413)) / 40;
      const y = y0 - width + ((y1 - y0 + 2 * width) * (j + 0.377)) / 40;
      const winding = windingNumber(polygon, x, y);
      if (coverage.covers(x, y, -slack)) {
        covered++;
        if (winding <= 0)
          throw new Error(`(${x}, ${y}) is wound ${winding} by ${xy} width ${width} ends ${ends}`);
      } else if (winding !== 0 && !coverage.covers(x, y, slack)) {
        throw new Error(`(${x}, ${y}) is wound ${winding} outside of ${xy} width ${width} ends ${ends}`);
      }
    }
  }
  return covered;
}

describe('outline of a path, against distances from its segments', () => {
  it.each([
    ['Manhattan, long steps', MANHATTAN, 300, 1],
    ['Manhattan, steps shorter than the width', MANHATTAN, 40, 2],
    ['45 degrees, long steps', DIAGONAL, 300, 3],
    ['45 degrees, steps shorter than the width', DIAGONAL, 40, 4],
  ])('%s', (_, directions, longest, seed) => {
    const below = randomNumbers(seed);
    let covered = 0;
    for (let n = 0; n < 60; n++) {
      const xy = randomPath(below, directions, longest);
      const width = 2 + below(60);
      const half = width / 2;
      const begin = below(30);
      const end = below(30);
      covered += compare(xy, width, PATH_ENDS.flush, { begin: 0, end: 0, isRound: false }, 1e-6);
      covered += compare(xy, width, PATH_ENDS.halfWidth, { begin: half, end: half, isRound: false }, 1e-6);
      covered += compare(xy, width, PATH_ENDS.explicit, { begin, end, isRound: false }, 1e-6);
      // Chords run inside the circle: by up to a dbu or 1/64 of the width.
      covered += compare(
        xy,
        width,
        PATH_ENDS.round,
        { begin: 0, end: 0, isRound: true },
        Math.min(1, width / 64) + 1e-6,
      );
    }
    expect(covered).toBeGreaterThan(10_000);
  });

  it('a line that turns right about, on itself or past its beginning', () => {
    const flush = { begin: 0, end: 0, isRound: false };
    const covered = [
      [148, 122, -48, -48, -45, -45, -190, -190],
      [0, 0, 100, 0, 40, 0],
      [0, 0, 100, 100, -70, -70, 30, 30],
    ].map((xy) => compare(xy, 28, PATH_ENDS.flush, flush, 1e-6));
    expect(Math.min(...covered)).toBeGreaterThan(50);
  });

  it('any angle', () => {
    const below = randomNumbers(5);
    let covered = 0;
    for (let n = 0; n < 60; n++) {
      const xy = Array.from({ length: 2 * (2 + below(5)) }, () => below(400));
      covered += compare(xy, 4 + below(40), PATH_ENDS.flush, { begin: 0, end: 0, isRound: false }, 1e-6);
    }
    expect(covered).toBeGreaterThan(3_000);
  });
});
