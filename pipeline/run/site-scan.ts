/** From the files of a scan to its place on the die: survey, placement, heights, labels. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { Placement } from '../../shared/artefacts/placement.ts';
import type { Process } from '../../shared/artefacts/process.ts';
import type { BuildOptions } from '../build-options.ts';
import { sliceSums } from '../engine/slice-index.ts';
import { findInside } from '../stages/place/find-inside.ts';
import { findPlace, withMeasuredHeights } from '../stages/place/find-place.ts';
import type { MeasuredHeights } from '../stages/place/heights/measure-heights.ts';
import { measureScanHeights } from '../stages/place/heights/measure-scan.ts';
import { labelPlates } from '../stages/place/label-plates.ts';
import type { Overview } from '../stages/place/nested/overview.ts';
import type { PlacedByImage } from '../stages/place/place-by-image.ts';
import { placeScan } from '../stages/place/place-scan.ts';
import { type PlatePlan, planPlates } from '../stages/place/plan-plates.ts';
import { labelByTexture, turnedUpward } from '../stages/place/texture/label-texture.ts';
import { stackOfScan } from '../stages/place/texture/stack-of-scan.ts';
import { type LoadedCampaign, readNamed } from '../stages/survey/load-campaign.ts';
import type { LoadedLayout } from '../stages/survey/load-layout.ts';
import { type SurveyedScan, surveyScan } from '../stages/survey/survey-scan.ts';
import { volumeSpec } from '../stages/survey/volume-spec.ts';
import { defaultThreads } from '../workers/pool.ts';
import type { SliceContent } from './plate-steps.ts';
import type { BuildSteps } from './steps.ts';
import { contentOfVolume } from './volume-files.ts';

export type VolumeScan = LoadedCampaign['campaign']['scans'][number];

/** What is known of a scan once its place is. */
export interface SitedScan {
  readonly surveyed: SurveyedScan;
  /** null where a file of the volume cannot be read as it stands. */
  readonly content: SliceContent | null;
  readonly placement: Placement;
  readonly evidence: PlacedByImage['evidence'];
  readonly frame: 'die' | 'scan';
  readonly plan: PlatePlan;
  readonly layers: Layers;
  /** Layers whose plates were told well enough to be named. */
  readonly named: Layers;
  readonly drawing: { readonly layout: LoadedLayout; readonly process: Process } | null;
  readonly doubts: readonly string[];
}

/** Modules that read what a stage is given through registries. */
const LAYOUT_CODE = 'pipeline/stages/survey/load-layout.ts';

/** A drawing as part of a key. */
export const layoutKey = (layout: LoadedLayout | null): unknown =>
  layout && { sha256: layout.sha256, top: layout.top };

/** Scans placed so far, by id, and the key of each one's volume: what finer scans may be placed through. */
export type Overviews = Map<string, { readonly overview: Overview; readonly volume: string | null }>;

export async function siteScan(
  loaded: LoadedCampaign,
  layout: LoadedLayout | null,
  scan: VolumeScan,
  folder: string,
  options: BuildOptions,
  steps: BuildSteps,
  overviews: Overviews,
): Promise<SitedScan> {
  const { progress, signal } = options;
  const { process } = loaded;
  const threads = options.jobs ?? defaultThreads();
  const spec = await volumeSpec(loaded.folder, scan, loaded.allowOutside);
  const whole = await steps.timed('checksums', () =>
    contentOfVolume(spec, scan.id, loaded.folder, steps, signal),
  );
  const volume = whole?.key ?? null;
  const given = (input: object): unknown => volume && { volume, ...input };

  const { title, ...facts } = scan;
  const surveyPlan = {
    ...{ name: 'survey', stage: 'survey', code: ['pipeline/stages/survey/survey-scan.ts'] },
    input: given({ scan: facts }),
  };
  const kept = await steps.run(surveyPlan, folder, async () => {
    const {
      spec: _,
      scan: __,
      ...rest
    } = await surveyScan(...([loaded.folder, scan, progress, signal, loaded.allowOutside] as const));
    return rest;
  });
  const surveyed: SurveyedScan = { ...kept, scan, spec };
  const { survey, field } = surveyed;
  const { mask } = field;
  steps.volumes.set(scan.id, surveyed.files);
  const slices = whole && sliceSums(whole, surveyed.files, survey.shape.nz);
  const content = whole && { reading: whole.reading, key: whole.key, slices };

  const landmarks = scan.placement && {
    name: scan.placement.landmarks,
    text: await readNamed(loaded.folder, scan.placement.landmarks, `scan "${scan.id}", placement.landmarks`),
  };
  const byHand = placeScan(scan, survey, landmarks ?? null);
  const onDisk = { spec, campaignFolder: loaded.folder };
  const outer = scan.inside !== undefined && !scan.placement ? overviews.get(scan.inside) : undefined;
  const placePlan = {
    ...{ name: 'place', stage: 'placement' },
    code: ['pipeline/stages/place/find-place.ts', 'pipeline/stages/place/find-inside.ts', LAYOUT_CODE],
    input:
      outer?.volume === null
        ? null
        : given({
            ...{ scan: facts, survey, mask, layout: layoutKey(layout), process, byHand },
            ...(outer ? { outer: [outer.volume, outer.overview.placement, outer.overview.survey] } : {}),
          }),
  };
  const found =
    layout?.boxUm && process
      ? await steps.run(placePlan, folder, () => {
          const input = {
            ...{ ...onDisk, scan, survey, mask, process, threads },
            ...{ layout: layout.layout, top: layout.top, layoutBoxUm: layout.boxUm! },
          };
          return outer
            ? findInside(input, outer.overview, byHand, progress, signal)
            : findPlace(input, byHand, progress, signal);
        })
      : { placement: byHand, evidence: null };

  const broken = { brokenSlices: survey.broken_slices, mask };
  const texture = { ...broken, process: process!, voxelNm: survey.voxel_nm, order: scan.order };
  const texturePlan = {
    ...{ name: 'texture', stage: 'heights', code: ['pipeline/stages/place/texture/stack-of-scan.ts'] },
    input: given(texture),
  };
  const stack =
    process && found.placement.source === 'none'
      ? await steps.run(texturePlan, folder, () => stackOfScan({ ...onDisk, ...texture }, signal))
      : null;
  const sited = stack ? turnedUpward(found.placement, stack, survey.shape.nz) : found.placement;
  const planned = planPlates(sited.voxel_to_die_um, field.box, survey.shape.nz);
  const frame = sited.source === 'none' ? 'scan' : 'die';
  const drawing = layout && process && frame === 'die' ? { layout, process } : null;
  const heights = {
    ...broken,
    placement: sited,
    plan: planned,
    process: process!,
    sliceUm: survey.voxel_nm.z / 1000,
  };
  const heightsPlan = {
    ...{ name: 'heights', stage: 'heights' },
    code: ['pipeline/stages/place/heights/measure-scan.ts', LAYOUT_CODE],
    input: given({ ...heights, layout: layoutKey(layout) }),
  };
  const measured = drawing
    ? await steps.run<MeasuredHeights | null>(heightsPlan, folder, () =>
        measureScanHeights(
          { ...onDisk, ...heights, layout: drawing.layout.layout, top: drawing.layout.top },
          signal,
        ),
      )
    : null;
  const placement = drawing ? withMeasuredHeights(sited, measured) : sited;
  const plan = measured?.redepthed?.plan ?? planned;
  // Layers are looked for at their nominal heights, so the placement as it was before heights were measured.
  overviews.set(scan.id, {
    overview: { id: scan.id, title: scan.title ?? scan.id, spec, survey, mask, placement: sited },
    volume,
  });
  const told = stack ? labelByTexture(process!, stack, placement, plan) : null;
  const layers = measured?.layers ?? told?.layers ?? labelPlates(process, placement, plan);
  return {
    ...{ surveyed, content, placement, evidence: found.evidence, frame, plan, layers, drawing },
    // What was told from texture with less than even odds gets no portrait under its name.
    named: told ? { ...layers, layers: layers.layers.filter((l) => l.confidence >= 0.5) } : layers,
    doubts: measured?.doubts ?? told?.doubts ?? [],
  };
}
