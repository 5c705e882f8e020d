/** What the placement benchmark prints at its end. */
import type { Outcome } from './placement-run.ts';

const sorted = (values: number[]): number[] => values.sort((p, q) => p - q);
const at = (values: number[], share: number): string =>
  values.length === 0 ? '-' : sorted(values)[Math.floor(share * (values.length - 1))]!.toFixed(2);

export function placementTable(outcomes: readonly Outcome[]): string {
  const lines = [''];
  for (const kind of ['place', 'bare', 'wrong', 'outside'] as const) {
    const own = outcomes.filter((o) => o.case.kind === kind);
    const count = (verdict: string, right?: boolean): number =>
      own.filter((o) => o.verdict === verdict && (right === undefined || o.right === right)).length;
    lines.push(
      `${kind.padEnd(8)} ${own.length} runs: locked right ${count('locked', true)}, locked WRONG ${count('locked', false)}, ` +
        `ambiguous ${count('ambiguous')} (best place right in ${count('ambiguous', true)}), unplaced ${count('unplaced')}`,
    );
  }
  const locked = outcomes.filter((o) => o.verdict === 'locked' && o.right);
  lines.push(
    `in plane, voxels: median ${at(
      locked.map((o) => o.planeVoxels),
      0.5,
    )}, p95 ${at(
      locked.map((o) => o.planeP95Voxels),
      0.95,
    )}; depth, voxels: median ${at(
      locked.map((o) => o.depthVoxels),
      0.5,
    )}`,
  );
  for (const [axis, name] of ['x', 'y', 'z'].entries()) {
    const stated = locked.filter((o) => o.uncertaintyVoxels);
    const inside = stated.filter((o) => Math.abs(o.middleVoxels[axis]!) < o.uncertaintyVoxels![axis]!).length;
    lines.push(`${name}: ${inside} of ${stated.length} errors at the middle inside one stated sigma`);
  }
  lines.push(
    `seconds: median ${at(
      outcomes.map((o) => o.seconds),
      0.5,
    )}, most ${at(
      outcomes.map((o) => o.seconds),
      1,
    )}`,
  );
  return lines.join('\n');
}
