/** The stages of one volume, in their order. */
import { mkdir, rm } from 'node:fs/promises';
import { join, relative } from 'node:path';
import { brickSchema } from '../../shared/artefacts/brick.ts';
import { evidenceSchema } from '../../shared/artefacts/evidence.ts';
import { findingsSchema } from '../../shared/artefacts/findings.ts';
import type { FolioScan } from '../../shared/artefacts/folio.ts';
import { layersSchema } from '../../shared/artefacts/layers.ts';
import { measurementsSchema } from '../../shared/artefacts/measurements.ts';
import { picturesSchema } from '../../shared/artefacts/pictures.ts';
import { placementSchema } from '../../shared/artefacts/placement.ts';
import { platesSchema } from '../../shared/artefacts/plates.ts';
import { selftestSchema } from '../../shared/artefacts/selftest.ts';
import { surveySchema } from '../../shared/artefacts/survey.ts';
import { withheldSchema } from '../../shared/artefacts/withheld.ts';
import { gridBoxUm } from '../../shared/frames.ts';
import type { BuildOptions } from '../build-options.ts';
import { writeArtefact, writeAtomically } from '../output/files.ts';
import { plateTiles, renderTiles } from '../output/pyramid.ts';
import { compareScan } from '../stages/compare/compare-scan.ts';
import { traceWindow } from '../stages/connect/trace-window.ts';
import { writeNets } from '../stages/connect/write-nets.ts';
import { measureScan } from '../stages/measure/measure-scan.ts';
import { measurementsCsv } from '../stages/measure/measurements-csv.ts';
import { findPlace, withMeasuredHeights } from '../stages/place/find-place.ts';
import { measureScanHeights } from '../stages/place/heights/measure-scan.ts';
import { labelPlates } from '../stages/place/label-plates.ts';
import { placeScan } from '../stages/place/place-scan.ts';
import { planPlates } from '../stages/place/plan-plates.ts';
import { labelByTexture, turnedUpward } from '../stages/place/texture/label-texture.ts';
import { stackOfScan } from '../stages/place/texture/stack-of-scan.ts';
import { portraitRanges } from '../stages/plate/portrait-ranges.ts';
import { writePlates } from '../stages/plate/write-plates.ts';
import { writePortraits } from '../stages/plate/write-portraits.ts';
import { shownEvidence, shownFindings, shownSelftest } from '../stages/publish/withhold/filter.ts';
import { hiddenPlaces, withheldArtefact } from '../stages/publish/withhold/hidden-places.ts';
import {
  judgedProcess,
  shownLayout,
  shownProcess,
  type Withholding,
  withheldLayers,
} from '../stages/publish/withhold/resolve.ts';
import { writeRenders } from '../stages/render/write-renders.ts';
import { type LoadedCampaign, readNamed } from '../stages/survey/load-campaign.ts';
import type { LoadedLayout } from '../stages/survey/load-layout.ts';
import { surveyScan } from '../stages/survey/survey-scan.ts';
import { defaultThreads } from '../workers/pool.ts';

/** Runs a step and adds its time to the stage of that name; stops where the build was interrupted. */
export type Timed = <T>(name: string, work: () => Promise<T>) => Promise<T>;

/**
 * All stages of one volume, in their order. What looks for the place sees all of the drawing; what is published is made
 * from the drawing and the image without what is withheld.
 * @returns null for a scan that is left out whole, since places are withheld and it is not certain where it lies
 */
export async function buildScan(
  loaded: LoadedCampaign,
  layout: LoadedLayout | null,
  withheld: Withholding,
  scan: LoadedCampaign['campaign']['scans'][number],
  staging: string,
  options: BuildOptions,
  timed: Timed,
): Promise<FolioScan | null> {
  const { progress, signal } = options;
  const threads = options.jobs ?? defaultThreads();
  const folder = join(staging, 'data', scan.id);
  await mkdir(folder, { recursive: true });

  const surveyed = await timed('survey', () =>
    surveyScan(loaded.folder, scan, progress, signal, loaded.allowOutside),
  );
  const { survey, field } = surveyed;
  const landmarks = scan.placement
    ? {
        name: scan.placement.landmarks,
        text: await readNamed(
          loaded.folder,
          scan.placement.landmarks,
          `scan "${scan.id}", placement.landmarks`,
        ),
      }
    : null;
  const byHand = placeScan(scan, survey, landmarks);
  const { process } = loaded;
  const found =
    layout?.boxUm && process
      ? await timed('placement', () =>
          findPlace(
            {
              ...{ campaignFolder: loaded.folder, scan, survey, mask: field.mask, spec: surveyed.spec },
              ...{ layout: layout.layout, top: layout.top, layoutBoxUm: layout.boxUm!, process, threads },
            },
            byHand,
            progress,
            signal,
          ),
        )
      : { placement: byHand, evidence: null };
  const stack =
    process && found.placement.source === 'none'
      ? await timed('heights', () =>
          stackOfScan(
            {
              ...{ spec: surveyed.spec, campaignFolder: loaded.folder, brokenSlices: survey.broken_slices },
              ...{ mask: field.mask, process, voxelNm: survey.voxel_nm, order: scan.order },
            },
            signal,
          ),
        )
      : null;
  const sited = stack ? turnedUpward(found.placement, stack, survey.shape.nz) : found.placement;
  const planned = planPlates(sited.voxel_to_die_um, field.box, survey.shape.nz);
  const frame = sited.source === 'none' ? 'scan' : 'die';
  const drawing = layout && loaded.process && frame === 'die' ? { layout, process: loaded.process } : null;
  const measured = drawing
    ? await timed('heights', () =>
        measureScanHeights(
          {
            ...{ spec: surveyed.spec, campaignFolder: loaded.folder, brokenSlices: survey.broken_slices },
            ...{ mask: field.mask, placement: sited, plan: planned, process: drawing.process },
            ...{ layout: drawing.layout.layout, top: drawing.layout.top },
            sliceUm: survey.voxel_nm.z / 1000,
          },
          signal,
        ),
      )
    : null;
  const placement = drawing ? withMeasuredHeights(sited, measured) : sited;
  const plan = measured?.redepthed?.plan ?? planned;
  if (withheld.hidesPlaces && placement.verdict !== 'locked') {
    await rm(folder, { recursive: true });
    return null;
  }
  const hidden = withheld.isEmpty
    ? null
    : hiddenPlaces(withheld, drawing?.layout ?? null, plan.grid, placement);
  const gone = withheldLayers(process, withheld);
  const unspoken = hidden && { places: hidden, layers: new Set(gone.map(({ name }) => name)) };
  const shown = drawing && {
    layout: shownLayout(drawing.layout, withheld),
    process: shownProcess(drawing.process, withheld),
  };
  const told = stack ? labelByTexture(loaded.process!, stack, placement, plan) : null;
  const layers = measured?.layers ?? told?.layers ?? labelPlates(loaded.process, placement, plan);

  const { plates, portraits, brick } = await timed('plates', () =>
    writePlates(
      {
        scanId: scan.id,
        spec: surveyed.spec,
        campaignFolder: loaded.folder,
        brokenSlices: survey.broken_slices,
        mask: field.mask,
        hidden: hidden?.image ?? null,
        voxelToDieUm: placement.voxel_to_die_um,
        warp: placement.warp,
        frame,
        grid: plan.grid,
        stepUm: plan.stepUm,
        zUm: plan.zUm,
        unit: survey.grey.unit,
        sliceWindows: surveyed.sliceWindows,
        // What was told from texture with less than even odds gets no portrait under its name.
        portraits: portraitRanges(
          told ? { ...layers, layers: layers.layers.filter((l) => l.confidence >= 0.5) } : layers,
        ),
      },
      folder,
      threads,
      progress,
      signal,
    ),
  );
  const portraitEntries = await timed('portraits', () =>
    writePortraits(portraits, plan.grid, survey.grey.unit, folder),
  );
  const renderEntries = shown
    ? await timed('renders', () =>
        writeRenders(
          shown.layout.layout,
          shown.layout.top,
          shown.process,
          plan.grid,
          folder,
          scan.id,
          progress,
          hidden?.drawing,
        ),
      )
    : new Map();
  const traced = shown
    ? await timed('nets', async () =>
        traceWindow(shown.layout.layout, shown.layout.top, shown.process, gridBoxUm(plan.grid)),
      )
    : null;
  if (drawing) progress.line(`compare ${scan.id.padEnd(14)} image and drawing, then the self-test`);
  const judged = drawing
    ? await timed('compare', async () =>
        compareScan({
          layout: drawing.layout.layout,
          top: drawing.layout.top,
          process: drawing.process,
          placement,
          layers,
          grid: plan.grid,
          portraits,
          ...(traced ? { netsAt: (layer, boxUm) => traced.drawn.netsAt(layer, boxUm) } : {}),
        }),
      )
    : null;

  const compared = judged && {
    findings: unspoken ? shownFindings(judged.findings, unspoken) : judged.findings,
    selftest: judged.selftest && unspoken ? shownSelftest(judged.selftest, unspoken) : judged.selftest,
  };
  if (compared) {
    await writeArtefact(join(folder, 'findings.json'), findingsSchema, compared.findings);
    if (compared.selftest)
      await writeArtefact(join(folder, 'selftest.json'), selftestSchema, compared.selftest);
  }
  const nets =
    shown && traced
      ? await timed('nets', async () => {
          const { layout: read, top } = shown.layout;
          const findings = placement.verdict === 'locked' ? (compared?.findings ?? null) : null;
          const field = { id: scan.id, grid: plan.grid, layers, placement, portraits, findings };
          return writeNets(traced, field, read, top, folder, progress);
        })
      : null;
  const measurements = await timed('measure', () =>
    measureScan({
      ...{
        placement,
        process: process && judgedProcess(process, withheld),
        drawing: shown?.layout ?? null,
        layers,
        portraits,
        grid: plan.grid,
        stepUm: plan.stepUm,
        zUm: plan.zUm,
      },
      ...{ unit: survey.grey.unit, acquisition: scan.acquisition ?? null },
      source: {
        ...{ spec: surveyed.spec, voxelToDieUm: placement.voxel_to_die_um, mask: field.mask },
        brokenSlices: survey.broken_slices,
        nameOf: (file) => relative(loaded.folder, file),
        ...(signal ? { signal } : {}),
      },
    }),
  );

  await writeArtefact(join(folder, 'measurements.json'), measurementsSchema, measurements);
  await writeAtomically(join(folder, 'measurements.csv'), measurementsCsv(measurements));
  await writeArtefact(join(folder, 'survey.json'), surveySchema, survey);
  await writeArtefact(join(folder, 'placement.json'), placementSchema, placement);
  if (found.evidence) {
    const evidence = unspoken ? shownEvidence(found.evidence, unspoken) : found.evidence;
    await writeArtefact(join(folder, 'evidence.json'), evidenceSchema, evidence);
  }
  if (hidden)
    await writeArtefact(
      join(folder, 'withheld.json'),
      withheldSchema,
      withheldArtefact(hidden, withheld, gone),
    );
  await writeArtefact(join(folder, 'layers.json'), layersSchema, layers);
  await writeArtefact(join(folder, 'plates.json'), platesSchema, plates);
  await writeArtefact(join(folder, 'brick.json'), brickSchema, brick);
  await writeArtefact(join(folder, 'pictures.json'), picturesSchema, {
    version: 1,
    portrait_tiles: plateTiles(true),
    render_tiles: renderTiles(hidden?.drawing != null),
    layers: (loaded.process?.layers ?? []).map((layer) => ({
      name: layer.name,
      portrait: portraitEntries.get(layer.name) ?? null,
      render: renderEntries.get(layer.name) ?? null,
    })),
  });
  return {
    id: scan.id,
    title: scan.title ?? scan.id,
    kind: 'volume',
    frame,
    verdict: placement.verdict,
    footprint_um: plan.footprintUm.map(([x, y]) => [x, y]),
    z_um: [plan.zUm[0]!, plan.zUm.at(-1)!],
    acquisition: scan.acquisition ?? null,
    doubts: [
      ...placement.doubts,
      ...(measured?.doubts ?? told?.doubts ?? []),
      ...brokenDoubt(survey.broken_slices),
      ...(placement.verdict === 'locked' ? (compared?.findings.doubts ?? []) : []),
      ...(nets?.doubts ?? []),
    ],
  };
}

const brokenDoubt = (slices: readonly number[]): string[] =>
  slices.length === 0
    ? []
    : [
        `${slices.length} slices show nothing and were bridged from their neighbours: ${slices.slice(0, 12).join(', ')}${slices.length > 12 ? ' ...' : ''}.`,
      ];
