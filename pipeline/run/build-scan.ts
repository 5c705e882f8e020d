/** The stages of one volume, in their order. */
import { mkdir } from 'node:fs/promises';
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
import { gridBoxUm } from '../../shared/frames.ts';
import type { BuildOptions } from '../build-options.ts';
import { writeArtefact, writeAtomically } from '../output/files.ts';
import { plateTiles, renderTiles } from '../output/pyramid.ts';
import { compareScan } from '../stages/compare/compare-scan.ts';
import { traceWindow } from '../stages/connect/trace-window.ts';
import { withheldBy } from '../stages/connect/withheld.ts';
import { writeNets } from '../stages/connect/write-nets.ts';
import { measureScan } from '../stages/measure/measure-scan.ts';
import { measurementsCsv } from '../stages/measure/measurements-csv.ts';
import { portraitRanges } from '../stages/plate/portrait-ranges.ts';
import { writePortraits } from '../stages/plate/write-portraits.ts';
import { writeRenders } from '../stages/render/write-renders.ts';
import type { LoadedCampaign } from '../stages/survey/load-campaign.ts';
import type { LoadedLayout } from '../stages/survey/load-layout.ts';
import { defaultThreads } from '../workers/pool.ts';
import { plateSteps } from './plate-steps.ts';
import { layoutKey, siteScan, type VolumeScan } from './site-scan.ts';
import { type BuildSteps, lazily } from './steps.ts';

const LAYOUT_CODE = 'pipeline/stages/survey/load-layout.ts';

/** All stages of one volume, in their order. */
export async function buildScan(
  loaded: LoadedCampaign,
  layout: LoadedLayout | null,
  scan: VolumeScan,
  options: BuildOptions,
  steps: BuildSteps,
): Promise<FolioScan> {
  const { progress, signal } = options;
  const { process } = loaded;
  const folder = join(steps.staging, 'data', scan.id);
  await mkdir(folder, { recursive: true });

  const sited = await siteScan(loaded, layout, scan, folder, options, steps);
  const { surveyed, content, placement, frame, plan, layers, drawing } = sited;
  const { survey, field } = surveyed;
  const { grid } = plan;
  const { unit } = survey.grey;
  const { plates, brick, portraits, portraitsKey } = await steps.timed('plates', () =>
    plateSteps(
      steps,
      {
        ...{ scanId: scan.id, spec: surveyed.spec, campaignFolder: loaded.folder },
        ...{ brokenSlices: survey.broken_slices, mask: field.mask },
        ...{ voxelToDieUm: placement.voxel_to_die_um, warp: placement.warp, frame },
        ...{ grid, stepUm: plan.stepUm, zUm: plan.zUm, unit },
        ...{ sliceWindows: surveyed.sliceWindows, portraits: portraitRanges(sited.named) },
      },
      content,
      folder,
      options.jobs ?? defaultThreads(),
      progress,
      signal,
    ),
  );
  const portraitEntries = await steps.run(
    {
      ...{ name: 'portraits', stage: 'portraits', code: ['pipeline/stages/plate/write-portraits.ts'] },
      input: { portraitsKey, grid, unit },
    },
    folder,
    async ({ files }) => writePortraits(await portraits(), grid, unit, files),
  );
  const drawn = drawing && { layout: layoutKey(drawing.layout), process: drawing.process, grid };
  const renderEntries: Awaited<ReturnType<typeof writeRenders>> = drawing
    ? await steps.run(
        {
          ...{ name: 'renders', stage: 'renders' },
          ...{ code: ['pipeline/stages/render/write-renders.ts', LAYOUT_CODE], input: drawn },
        },
        folder,
        ({ files }) => {
          const { layout: read, top } = drawing.layout;
          return writeRenders(read, top, drawing.process, grid, files, scan.id, progress);
        },
      )
    : new Map();

  const withheld = withheldBy(loaded.campaign);
  const traced = lazily(async () =>
    traceWindow(
      drawing!.layout.layout,
      drawing!.layout.top,
      drawing!.process,
      gridBoxUm(plan.grid),
      withheld,
    ),
  );
  const judged = drawn && { ...drawn, placement, layers, portraitsKey, withhold: loaded.campaign.withhold };
  const compared = drawing
    ? await steps.run(
        {
          ...{ name: 'compare', stage: 'compare', input: judged },
          code: [
            'pipeline/stages/compare/compare-scan.ts',
            'pipeline/stages/connect/trace-window.ts',
            'pipeline/stages/connect/withheld.ts',
            LAYOUT_CODE,
          ],
        },
        folder,
        async () => {
          progress.line(`compare ${scan.id.padEnd(14)} image and drawing, then the self-test`);
          const nets = (await traced()).drawn;
          return compareScan({
            ...{ layout: drawing.layout.layout, top: drawing.layout.top, process: drawing.process },
            ...{ placement, layers, grid, portraits: await portraits() },
            netsAt: (layer, boxUm) => nets.netsAt(layer, boxUm),
          });
        },
      )
    : null;
  const findings = placement.verdict === 'locked' ? (compared?.findings ?? null) : null;
  const nets = drawing
    ? await steps.run(
        {
          ...{ name: 'nets', stage: 'nets', input: { ...judged, findings, id: scan.id } },
          code: ['pipeline/stages/connect/write-nets.ts', 'pipeline/stages/connect/withheld.ts', LAYOUT_CODE],
        },
        folder,
        async ({ files }) => {
          const { layout: read, top } = drawing.layout;
          const seen = { id: scan.id, grid, layers, placement, portraits: await portraits(), findings };
          return writeNets(await traced(), seen, read, top, files, progress, withheld);
        },
      )
    : null;
  const { stepUm, zUm } = plan;
  const acquisition = scan.acquisition ?? null;
  const measurable = { placement, process, layers, grid, stepUm, zUm, unit, acquisition };
  const measurements = await steps.run(
    {
      ...{ name: 'measure', stage: 'measure' },
      ...{ code: ['pipeline/stages/measure/measure-scan.ts', LAYOUT_CODE] },
      input: content && {
        ...{ ...measurable, portraitsKey, layout: drawn?.layout, volume: content.key },
        ...{ mask: field.mask, broken: survey.broken_slices },
      },
    },
    folder,
    async () =>
      measureScan({
        ...{ ...measurable, drawing: drawing?.layout ?? null, portraits: await portraits() },
        source: {
          ...{ spec: surveyed.spec, voxelToDieUm: placement.voxel_to_die_um, mask: field.mask },
          brokenSlices: survey.broken_slices,
          nameOf: (file) => relative(loaded.folder, file),
          ...(signal ? { signal } : {}),
        },
      }),
  );

  if (compared) {
    await writeArtefact(join(folder, 'findings.json'), findingsSchema, compared.findings);
    if (compared.selftest)
      await writeArtefact(join(folder, 'selftest.json'), selftestSchema, compared.selftest);
  }
  await writeArtefact(join(folder, 'measurements.json'), measurementsSchema, measurements);
  await writeAtomically(join(folder, 'measurements.csv'), measurementsCsv(measurements));
  await writeArtefact(join(folder, 'survey.json'), surveySchema, survey);
  await writeArtefact(join(folder, 'placement.json'), placementSchema, placement);
  if (sited.evidence) await writeArtefact(join(folder, 'evidence.json'), evidenceSchema, sited.evidence);
  await writeArtefact(join(folder, 'layers.json'), layersSchema, layers);
  await writeArtefact(join(folder, 'plates.json'), platesSchema, plates);
  await writeArtefact(join(folder, 'brick.json'), brickSchema, brick);
  await writeArtefact(join(folder, 'pictures.json'), picturesSchema, {
    version: 1,
    portrait_tiles: plateTiles(true),
    render_tiles: renderTiles,
    layers: (process?.layers ?? []).map((layer) => ({
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
    acquisition,
    doubts: [
      ...placement.doubts,
      ...sited.doubts,
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
