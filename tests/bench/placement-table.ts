/** What the placement benchmark prints at its end. */
import type { Outcome } from './placement-run.ts';

const sorted = (values: number[]): number[] => values.sort((p, q) => p - q);
const at = (values: number[], share: number): string =>
  values.length === 0 ? '-' : sorted(values)[Math.floor(share * (values.length - 1))]!.toFixed(2);

export function placementTable(outcomes: readonly Outcome[]): string {
  const lines = [''];
  for (const kind of ['place', 'repeats', 'bare', 'wrong', 'outside'] as const) {
    const own = outcomes.filter((o) => o.case.kind === kind);
    const count = (verdict: string, right?: boolean): number =>
      own.filter((o) => o.verdict === verdict && (right === undefined || o.right === right)).length;
    lines.push(
      `${kind.padEnd(8)} ${own.length} runs: locked right ${count('locked', true)}, locked WRONG ${count('locked', false)}, ` +
        `ambiguous ${count('ambiguous')} (best place right in ${count('ambiguous', true)}), unplaced ${count('unplaced')}`,
    );
  }
  const locked = outcomes.filter((o) => o.verdict === 'locked' && o.right);
  const line = (name: string, aim: string, found: string): void => {
    lines.push(`| ${name} | ${aim} | ${found} |`);
  };
  const of = (pick: (o: Outcome) => number, share: number): string => at(locked.map(pick), share);
  lines.push('', '| quantity, of the runs locked right | aim | found |', '| --- | --- | --- |');
  line(
    'in plane, median error over the field, voxels',
    '0.15',
    of((o) => o.planeVoxels, 0.5),
  );
  line(
    'in plane, 95 % of the field, median run',
    '0.5',
    of((o) => o.planeP95Voxels, 0.5),
  );
  line(
    'in plane, 95 % of the field, 95 % of the runs',
    '0.5',
    of((o) => o.planeP95Voxels, 0.95),
  );
  const faces = locked.flatMap((o) => [...o.facesVoxels]);
  line('faces of layers that show, median error, voxels', '1', at([...faces], 0.5));
  line(
    'depth of the map, median error, voxels',
    '1',
    of((o) => o.depthVoxels, 0.5),
  );
  const plates = locked.reduce((sum, o) => [sum[0]! + o.plates[0], sum[1]! + o.plates[1]], [0, 0]);
  line(
    'plates with the right label',
    '97 %',
    `${((100 * plates[0]!) / Math.max(1, plates[1]!)).toFixed(1)} %`,
  );
  for (const [axis, name] of ['x', 'y', 'z'].entries()) {
    const stated = locked.filter((o) => o.uncertaintyVoxels);
    const inside = stated.filter((o) => Math.abs(o.middleVoxels[axis]!) < o.uncertaintyVoxels![axis]!).length;
    line(`${name}: errors at the middle inside one stated sigma`, '68 %', `${inside} of ${stated.length}`);
  }
  lines.push(
    `seconds of processor: median ${at(
      outcomes.map((o) => o.cpuSeconds),
      0.5,
    )}, most ${at(
      outcomes.map((o) => o.cpuSeconds),
      1,
    )}; by the clock: median ${at(
      outcomes.map((o) => o.seconds),
      0.5,
    )}, most ${at(
      outcomes.map((o) => o.seconds),
      1,
    )}`,
  );
  return lines.join('\n');
}
