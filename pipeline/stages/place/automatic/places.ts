/** Maps of one scan held against each other: where they put its middle, and whether two put its field in the same place. */
import { type Affine3, apply3 } from '../../../../shared/affine.ts';
import type { Candidate } from './improve.ts';
import type { Apart } from './top-list.ts';
import type { WorkVolume } from './work-volume.ts';

/** Die position of the middle of the scan. */
export const middleOf = (work: WorkVolume, map: Affine3): readonly [number, number, number] =>
  apply3(map, [(work.nx - 1) / 2, (work.ny - 1) / 2, (work.nz - 1) / 2]);

/** Whether two maps put the field in the same place: its middle and its corners. */
export function sameMap(work: WorkVolume, a: Affine3, b: Affine3, apart: Apart): boolean {
  const k = (work.nz - 1) / 2;
  const points = [
    [0.5, 0.5],
    [0.2, 0.2],
    [0.8, 0.2],
    [0.2, 0.8],
    [0.8, 0.8],
  ].map(([u, v]) => {
    const at = [u! * (work.nx - 1), v! * (work.ny - 1), k] as const;
    const [p, q] = [apply3(a, at), apply3(b, at)];
    return { plane: Math.hypot(p[0] - q[0], p[1] - q[1]), height: Math.abs(p[2] - q[2]) };
  });
  return points.every((d) => d.plane < 2 * apart.planeUm && d.height < 2 * apart.heightUm);
}

/** Strongest first; of those that came to the same place the strongest. */
export function distinct(work: WorkVolume, candidates: readonly Candidate[], apart: Apart): Candidate[] {
  const kept: Candidate[] = [];
  for (const candidate of strongestFirst(candidates))
    if (!kept.some((other) => sameMap(work, other.workToDie, candidate.workToDie, apart)))
      kept.push(candidate);
  return kept;
}

export const strongestFirst = (candidates: readonly Candidate[]): Candidate[] =>
  [...candidates].sort((p, q) => q.refined.strength - p.refined.strength);
