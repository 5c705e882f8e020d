/** Findings of one scan held against its truth. */
import type { CompareOutcome } from '../../pipeline/stages/compare/compare-scan.ts';
import type { Findings } from '../../shared/artefacts/findings.ts';
import { type Box, boxesMeet, growBox } from '../../shared/polygon.ts';
import type { PreparedScan, Truth } from './findings-scans.ts';

type Finding = Findings['findings'][number];
type Fault = Truth['faults'][number];

export interface Score {
  readonly hits: readonly { readonly fault: Fault; readonly findings: readonly Finding[] }[];
  readonly missed: readonly Fault[];
  /** On layers that were not judged. */
  readonly unjudged: readonly Fault[];
  readonly false: readonly Finding[];
  /** Fill shapes inside the judged field, recognised, and called findings. */
  readonly fill: { readonly made: number; readonly recognised: number; readonly asFinding: number };
  readonly judgedUm2: number;
}

/** A finding means a fault whose box it comes this near to. */
const NEAR_PX = 3;
/** The comparison does not judge this close to the rim of the field. */
const RIM_PX = 9;

export function scoreFindings(scan: PreparedScan, outcome: CompareOutcome): Score {
  const { findings } = outcome;
  const near = NEAR_PX * scan.grid.pixel_um;
  const meets = (a: Box, b: Box): boolean => boxesMeet(growBox(a, near), b);
  const used = new Set<Finding>();
  const [hits, missed, unjudged] = [[], [], []] as [Score['hits'][number][], Fault[], Fault[]];
  for (const fault of scan.truth.faults) {
    if (!(fault.layer in findings.judged_area_um2)) {
      unjudged.push(fault);
      continue;
    }
    const own = findings.findings.filter((f) => f.layer === fault.layer && meets(f.box_um, fault.box_um));
    for (const finding of own) used.add(finding);
    if (own.length > 0) hits.push({ fault, findings: own });
    else missed.push(fault);
  }
  const wrong = findings.findings.filter((f) => !used.has(f));
  const fill = { made: 0, recognised: 0, asFinding: 0 };
  for (const rule of scan.truth.fill) {
    if (!(rule.layer in findings.judged_area_um2)) continue;
    const squares = rule.corners_in_field_um
      .map(([x, y]): Box => [x, y, x + rule.size_um[0], y + rule.size_um[1]])
      .filter((box) => insideJudged(scan, box));
    fill.made += squares.length;
    const groups = findings.fill.filter((f) => f.layer === rule.layer);
    const counted = groups.reduce((sum, f) => sum + f.count, 0);
    fill.recognised += Math.min(counted, squares.length);
    fill.asFinding += wrong.filter(
      (f) => f.layer === rule.layer && squares.some((box) => boxesMeet(f.box_um, box)),
    ).length;
  }
  const judgedUm2 = Math.max(0, ...Object.values(findings.judged_area_um2));
  return { hits, missed, unjudged, false: wrong, fill, judgedUm2 };
}

function insideJudged({ grid, portraits }: PreparedScan, box: Box): boolean {
  const { pixel_um: p, origin_um: o, width_px: w, height_px: h } = grid;
  const [x0, x1] = [(box[0] - o[0]) / p - RIM_PX, (box[2] - o[0]) / p + RIM_PX].map(Math.round) as [
    number,
    number,
  ];
  const [y0, y1] = [(o[1] - box[3]) / p - RIM_PX, (o[1] - box[1]) / p + RIM_PX].map(Math.round) as [
    number,
    number,
  ];
  return [
    [x0, y0],
    [x1, y0],
    [x0, y1],
    [x1, y1],
  ].every(([x, y]) => {
    if (x! < 0 || y! < 0 || x! >= w || y! >= h) return false;
    return portraits.every(({ values }) => Number.isFinite(values[y! * w + x!]!));
  });
}
