/** Holds what a build says of an outside campaign against the truth beside it. Lengths in voxels unless named. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Warp } from '../../../shared/artefacts/placement.ts';
import { displacementAt } from '../../../shared/warp.ts';

type Rows = readonly (readonly number[])[];
type Found = { readonly voxel_to_die_um: Rows; readonly warp: Warp | null };

interface Truth {
  readonly voxel_to_die_um: Rows;
  readonly size: readonly [number, number, number];
  readonly voxel_um: number;
  readonly order: string;
  readonly seen_from: string;
  /** Along x, y and height, voxels, at 9 x 9 places from row 0 and column 0 on. */
  readonly bend_voxels: readonly Rows[];
  readonly layers: readonly { name: string; bottom_um: number; top_um: number }[];
  readonly faults: readonly { kind: string; layer: string; at_um: [number, number] }[];
}

export interface Score {
  readonly verdict: string;
  /** Locked, and somewhere else than where the scan was made. */
  readonly wrong: boolean;
  /** Farthest in the plane over the middle three fifths of the volume; null where nothing was placed. */
  readonly planeVoxels: number | null;
  readonly plates: { readonly right: number; readonly of: number };
  readonly judgedLayers: number;
  readonly faults: { readonly found: number; readonly sameKind: number; readonly judged: number };
  readonly falseFindings: readonly string[];
}

/** How near a finding must lie to a fault to be it, voxels. */
const NEAR = 12;

const times = (map: Rows, point: readonly number[]): number[] =>
  map.map((row) => row[0]! * point[0]! + row[1]! * point[1]! + row[2]! * point[2]! + row[3]!);

/** @param made the campaign with truth.json and its folio */
export function scoreCampaign(made: string): Score {
  const json = (...path: string[]) => JSON.parse(readFileSync(join(made, ...path), 'utf8'));
  const truth: Truth = json('truth.json');
  const data = join('folio', 'data', 's');
  const placement = json(data, 'placement.json');
  const planeVoxels = placement.verdict === 'unplaced' ? null : farthest(truth, placement);
  // Where nothing was placed, nothing is compared.
  const { findings, judged_area_um2: judged } = existsSync(join(made, data, 'findings.json'))
    ? json(data, 'findings.json')
    : { findings: [], judged_area_um2: {} };
  const isJudged = (layer: string): boolean => (judged[layer] ?? 0) > 0;
  const hits = new Map<number, string>();
  const falseFindings: string[] = [];
  for (const finding of findings) {
    const at = truth.faults.findIndex(
      (fault) =>
        fault.layer === finding.layer &&
        [0, 1].every(
          (axis) => Math.abs(fault.at_um[axis]! - finding.centre_um[axis]) < NEAR * truth.voxel_um,
        ),
    );
    if (at < 0) falseFindings.push(`${finding.kind} ${finding.layer} ${finding.probability}`);
    else if (hits.get(at) !== truth.faults[at]!.kind) hits.set(at, finding.kind);
  }
  return {
    verdict: placement.verdict,
    wrong: placement.verdict === 'locked' && !(planeVoxels! < 3),
    planeVoxels,
    plates: plates(truth, json(data, 'layers.json').plates),
    judgedLayers: truth.layers.filter(({ name }) => isJudged(name)).length,
    faults: {
      found: hits.size,
      sameKind: [...hits].filter(([n, kind]) => truth.faults[n]!.kind === kind).length,
      judged: truth.faults.filter(({ layer }) => isJudged(layer)).length,
    },
    falseFindings,
  };
}

function farthest(truth: Truth, found: Found): number {
  let most = 0;
  for (const i of [0.2, 0.5, 0.8])
    for (const j of [0.2, 0.5, 0.8])
      for (const k of [0.2, 0.5, 0.8]) {
        const voxel = [i * truth.size[0], j * truth.size[1], k * truth.size[2]];
        const a = times(found.voxel_to_die_um, voxel);
        if (found.warp) for (const [n, d] of displacementAt(found.warp, a[0]!, a[1]!).entries()) a[n]! += d;
        const b = times(truth.voxel_to_die_um, voxel).map(
          (value, n) => value + bend(truth.bend_voxels[n]!, i, j) * truth.voxel_um,
        );
        most = Math.max(most, Math.hypot(a[0]! - b[0]!, a[1]! - b[1]!) / truth.voxel_um);
      }
  return most;
}

/** Between the places, linearly; at shares of the field across and down. */
function bend(at: Rows, i: number, j: number): number {
  const [c, r] = [Math.min(7, Math.floor(8 * i)), Math.min(7, Math.floor(8 * j))];
  const [a, b] = [8 * i - c, 8 * j - r];
  return (
    (at[r]![c]! * (1 - a) + at[r]![c + 1]! * a) * (1 - b) +
    (at[r + 1]![c]! * (1 - a) + at[r + 1]![c + 1]! * a) * b
  );
}

/** Plates whose label is that of the layer which the middle of their slice lies in; those astride a boundary are left out. */
function plates(truth: Truth, labelled: readonly { slice: number; layer: string | null }[]): Score['plates'] {
  let [right, of] = [0, 0];
  for (const plate of labelled) {
    const middle = [(truth.size[0] - 1) / 2, (truth.size[1] - 1) / 2, plate.slice];
    const z = times(truth.voxel_to_die_um, middle)[2]!;
    const faces = truth.layers.flatMap(({ bottom_um, top_um }) => [bottom_um, top_um]);
    if (faces.some((face) => Math.abs(face - z) < truth.voxel_um)) continue;
    of++;
    const layer = truth.layers.find(({ bottom_um, top_um }) => bottom_um <= z && z < top_um)?.name ?? null;
    if (layer === plate.layer) right++;
  }
  return { right, of };
}
