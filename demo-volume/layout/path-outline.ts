/** The outline of a wire drawn as a centre line with a width. */
import type { Path, Ring } from './library.ts';

const ROUND_STEPS = 8;

/** Drops points that repeat their neighbour: they have no direction. */
function distinct(line: readonly number[]): number[] {
  const out: number[] = [];
  for (let i = 0; i < line.length; i += 2) {
    const x = line[i] as number;
    const y = line[i + 1] as number;
    if (out.length < 2 || x !== out[out.length - 2] || y !== out[out.length - 1]) out.push(x, y);
  }
  return out;
}

function endExtension(path: Path, which: 'begin' | 'end'): number {
  if (path.ends === 2) return path.width / 2;
  if (path.ends === 4) return path[which] ?? 0;
  return 0;
}

/**
 * Ring around a path in database units, with mitred corners; empty for a path of no width or of one point.
 * @source GDSII Stream, PATHTYPE: 0 flush, 1 round, 2 extended by half the width, 4 by stated lengths.
 */
export function pathOutline(path: Path): Ring {
  const line = distinct(path.line);
  const n = line.length / 2;
  const half = path.width / 2;
  if (n < 2 || half <= 0) return [];
  const direction = (i: number): [number, number] => {
    const dx = (line[2 * i + 2] as number) - (line[2 * i] as number);
    const dy = (line[2 * i + 3] as number) - (line[2 * i + 1] as number);
    const length = Math.hypot(dx, dy);
    return [dx / length, dy / length];
  };
  const left: number[] = [];
  const right: number[] = [];
  for (let i = 0; i < n; i++) {
    let x = line[2 * i] as number;
    let y = line[2 * i + 1] as number;
    const before = i > 0 ? direction(i - 1) : direction(0);
    const after = i < n - 1 ? direction(i) : before;
    if (i === 0) {
      x -= after[0] * endExtension(path, 'begin');
      y -= after[1] * endExtension(path, 'begin');
    } else if (i === n - 1) {
      x += before[0] * endExtension(path, 'end');
      y += before[1] * endExtension(path, 'end');
    }
    // The mitre runs along the sum of the two normals; its length grows as the corner sharpens and is capped.
    const nx = -(before[1] + after[1]);
    const ny = before[0] + after[0];
    const norm = nx * nx + ny * ny;
    const reach = (2 * half) / Math.max(norm, 0.5);
    left.push(x + nx * reach, y + ny * reach);
    right.push(x - nx * reach, y - ny * reach);
  }
  const ring = [...left];
  if (path.ends === 1) pushCap(ring, line.slice(-2), direction(n - 2), half);
  for (let i = n - 1; i >= 0; i--) ring.push(right[2 * i] as number, right[2 * i + 1] as number);
  if (path.ends === 1) {
    const [dx, dy] = direction(0);
    pushCap(ring, line.slice(0, 2), [-dx, -dy], half);
  }
  return ring;
}

/** Half circle from the left normal of `d` round to its right normal. */
function pushCap(ring: number[], centre: number[], d: [number, number], half: number): void {
  for (let s = 1; s < ROUND_STEPS; s++) {
    const a = Math.PI / 2 - (Math.PI * s) / ROUND_STEPS;
    const along = Math.cos(a) * half;
    const across = Math.sin(a) * half;
    ring.push(
      (centre[0] as number) + d[0] * along - d[1] * across,
      (centre[1] as number) + d[1] * along + d[0] * across,
    );
  }
}
