/** Where the edges of a reading were found, as strokes across its path: what was measured, and over which extent. */
import { dieFromPixel, type PlateGrid } from '../../../shared/frames.ts';
import type { Trace } from '../../lib/measuring/evaluate.ts';
import type { PointUm, Reading } from '../../lib/measuring/reading.ts';

export type Stroke = readonly [PointUm, PointUm];

/** @returns nothing for readings by hand, for which no edge is looked for */
export function foundEdges(reading: Reading, trace: Trace | null, grid: PlateGrid): Stroke[] {
  if (reading.kind === 'thickness') return facesOf(reading);
  if (!trace || reading.kind === 'profile') return [];
  const acrossUm = reading.kind === 'via' ? valueNamed(reading, 'size in y') : reading.average_um;
  const half = Math.max(1, (acrossUm ?? 0) / grid.pixel_um) / 2;
  const [x, y] = trace.from;
  const [dx, dy] = [trace.to[0] - x, trace.to[1] - y];
  const length = Math.hypot(dx, dy);
  const [ux, uy] = [dx / length, dy / length];
  const z = reading.points_um[0]![2];
  return trace.edgesPx.map((at): Stroke => {
    const end = (side: number): PointUm => {
      const [px, py] = [x + ux * at - uy * half * side, y + uy * at + ux * half * side];
      return [...dieFromPixel(grid, px, py), z];
    };
    return [end(-1), end(1)];
  });
}

/** The faces of a layer, along the stretch of the section over which was averaged. */
function facesOf(reading: Reading): Stroke[] {
  const [a, b] = reading.points_um as [PointUm, PointUm];
  return ['lower face', 'upper face'].flatMap((name): Stroke[] => {
    const z = valueNamed(reading, name);
    return z === null
      ? []
      : [
          [
            [a[0], a[1], z],
            [b[0], b[1], z],
          ],
        ];
  });
}

const valueNamed = (reading: Reading, name: string): number | null =>
  reading.values.find((value) => value.name === name)?.value ?? null;
