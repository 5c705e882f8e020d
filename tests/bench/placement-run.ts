/** One case of the placement benchmark: image, place, compare with the truth. */
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { cpuUsage } from 'node:process';
import { parse } from 'yaml';
import { imageLayout } from '../../demo-volume/image-layout.ts';
import { boundsUm, shapesInWindow } from '../../pipeline/formats/layout/flatten.ts';
import { openLayout } from '../../pipeline/formats/layout/registry.ts';
import { openVolume } from '../../pipeline/formats/volume/registry.ts';
import { placeAutomatically } from '../../pipeline/stages/place/automatic/place-automatic.ts';
import type { Evidence } from '../../pipeline/stages/place/automatic/verdict.ts';
import { makeWorkVolume, workFromFile } from '../../pipeline/stages/place/automatic/work-volume.ts';
import { layerDrawing } from '../../pipeline/stages/place/heights/layer-drawing.ts';
import { measureHeights } from '../../pipeline/stages/place/heights/measure-heights.ts';
import { drawnStack, widened } from '../../pipeline/stages/place/place-by-image.ts';
import { planPlates } from '../../pipeline/stages/place/plan-plates.ts';
import { loadCampaign } from '../../pipeline/stages/survey/load-campaign.ts';
import { surveyScan } from '../../pipeline/stages/survey/survey-scan.ts';
import { type Affine3, compose3 } from '../../shared/affine.ts';
import type { Placement } from '../../shared/artefacts/placement.ts';
import { processSchema } from '../../shared/artefacts/process.ts';
import type { Case } from './placement-cases.ts';
import { showing, twinOf } from './placement-repeats.ts';
import { errorsOf, type HeightErrors, heightsAgainst, type Truth } from './placement-truth.ts';

export interface Outcome extends HeightErrors {
  readonly seed: number;
  readonly case: Case;
  readonly verdict: string;
  readonly evidence: Evidence;
  /** Whether the best place is the true one, whatever the verdict. */
  readonly right: boolean;
  /** Median error over the field, voxels of the file. */
  readonly planeVoxels: number;
  readonly planeP95Voxels: number;
  readonly depthVoxels: number;
  readonly uncertaintyVoxels: readonly [number, number, number] | null;
  /** Error at the middle of the scan, voxels: x, y, z. */
  readonly middleVoxels: readonly [number, number, number];
  readonly bent: boolean;
  readonly seconds: number;
  readonly cpuSeconds: number;
}

const quiet = { line: () => {}, bar: () => ({ advance: () => {}, finish: () => {} }) };

/** Layers and shapes below which nobody could tell where the scan lies. */
const BARE = { layers: 4, shapes: 150 } as const;

export async function runCase(given: Case, folder: string, keep: boolean): Promise<Outcome> {
  return runDrawn(given.kind === 'place' ? { ...given, kind: await kindOf(given) } : given, folder, keep);
}

/** A case as it is said to be: whether it could be placed at all is not looked into. */
export async function runDrawn(drawn: Case, folder: string, keep: boolean): Promise<Outcome> {
  const out = join(folder, `case-${drawn.seed}`);
  if (!existsSync(out)) await image(drawn, out);
  const loaded = await loadCampaign(out, false);
  const scan = loaded.campaign.scans[0]!;
  const { survey, field, spec } = await surveyScan(out, scan, quiet as never);
  const source = await openVolume(spec, {});
  const against = await openLayout(drawn.against.layoutFile, {});
  // The campaign's own table leaves out what the layout does not draw, as the truth does.
  const own = drawn.kind === 'wrong' ? drawn.against.processFile : join(out, 'process.yaml');
  const process = processSchema.parse(parse(readFileSync(own, 'utf8')));
  const from = performance.now();
  const cpu = cpuUsage();
  try {
    const voxelUm = [survey.voxel_nm.x / 1000, survey.voxel_nm.y / 1000, survey.voxel_nm.z / 1000] as const;
    const work = await makeWorkVolume({
      source,
      voxelUm,
      mask: field.mask,
      brokenSlices: survey.broken_slices,
    });
    const { top } = against;
    const stack = drawnStack(process, against.layout, top);
    const boxUm = boundsUm(against.layout, top)!;
    const result = await placeAutomatically({
      ...{ work, stack, signs: [1, -1], threads: 2, allowed: () => true },
      ...{ centresUm: drawn.centresUm ?? boxUm, layoutUm: boxUm },
      pause: async () => {},
    });
    const seconds = (performance.now() - from) / 1000;
    const { user, system } = cpuUsage(cpu);
    const truth: Truth = JSON.parse(readFileSync(join(out, 'truth.json'), 'utf8'));
    const { best } = result;
    const found = best && compose3(best.workToDie, workFromFile(work.binning));
    const measured =
      found && result.verdict !== 'unplaced'
        ? await measureHeights({
            scan: {
              ...{ ...source.shape, mask: field.mask, brokenSlices: survey.broken_slices },
              slice: (k) => source.read({ k: [k, k + 1] }),
            },
            placement: { voxel_to_die_um: mutable(found), warp: best.warp },
            plan: planPlates(found, field.box, survey.shape.nz),
            ...{ process, sliceUm: voxelUm[2], drawing: layerDrawing(against.layout, top) },
          })
        : null;
    const map = measured?.redepthed?.voxelToDieUm ?? found;
    const errors = map ? errorsOf(map, measured?.bowedWarp ?? best!.warp, truth, survey.shape) : null;
    const u = best && widened(best.uncertaintyUm, work);
    // As in a build: a place whose layers do not hold over the field is not locked.
    const verdict = result.verdict === 'locked' && !measured ? 'ambiguous' : result.verdict;
    const right = drawn.kind !== 'wrong' && errors !== null && errors.plane[0]! < 4 && errors.depth[0]! < 12;
    const deep = measured?.redepthed?.sdUm ?? u?.z ?? Number.NaN;
    return {
      ...{ seed: drawn.seed, case: drawn, verdict, evidence: result.evidence, seconds, right },
      cpuSeconds: (user + system) / 1e6,
      bent: Boolean(best?.warp),
      planeVoxels: errors?.plane[0] ?? Number.NaN,
      planeP95Voxels: errors?.plane[1] ?? Number.NaN,
      depthVoxels: errors?.depth[0] ?? Number.NaN,
      middleVoxels: errors?.middle ?? [Number.NaN, Number.NaN, Number.NaN],
      uncertaintyVoxels: u ? [u.x / voxelUm[0], u.y / voxelUm[1], deep / voxelUm[2]] : null,
      ...(right && measured
        ? heightsAgainst(measured.layers, truth, survey.shape, voxelUm[2])
        : { facesVoxels: [], plates: [0, 0] as const }),
    };
  } finally {
    await source.close();
    if (!keep) rmSync(out, { recursive: true });
  }
}

/** What nobody could place is not asked for: too little drawn, or another place that shows the same. */
async function kindOf(drawn: Case): Promise<Case['kind']> {
  if (await isBare(drawn)) return 'bare';
  return (await twinOf(drawn)) ? 'repeats' : 'place';
}

export async function isBare(drawn: Case): Promise<boolean> {
  const { layout, top } = await openLayout(drawn.layoutFile, {});
  const process = processSchema.parse(parse(readFileSync(drawn.processFile, 'utf8')));
  let layers = 0;
  let shapes = 0;
  for (const layer of process.layers) {
    const middle = layer.bottom_um + layer.thickness_um / 2;
    if (middle < drawn.depthUm[0] || middle > drawn.depthUm[1] || layer.name === 'gatpoly') continue;
    let own = 0;
    for (const _ of shapesInWindow(layout, top, drawn.windowUm, showing(layer))) own++;
    if (own > 0) layers++;
    shapes += own;
  }
  return layers < BARE.layers || shapes < BARE.shapes;
}

export const image = (drawn: Case, out: string) =>
  imageLayout({
    ...{ layout: drawn.layoutFile, process: drawn.processFile, windowUm: drawn.windowUm, out },
    ...{ depthUm: drawn.depthUm, voxelNm: drawn.voxelNm, rotationDeg: drawn.rotationDeg },
    ...{ tiltDeg: drawn.tiltDeg, tiltTowardsDeg: drawn.tiltTowardsDeg, scalePlane: drawn.scalePlane },
    ...{ scaleDepth: drawn.scaleDepth, seed: drawn.seed, cnr: drawn.cnr, order: drawn.order },
    ...{ mirrored: drawn.mirrored, circular: drawn.circular, fill: true, faults: true, placement: false },
    conditions: drawn.conditions,
  });

const mutable = (map: Affine3): Placement['voxel_to_die_um'] => [[...map[0]], [...map[1]], [...map[2]]];
