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
import { writePortraits } from '../stages/plate/write-portraits.ts';
import { shownEvidence, shownFindings, shownSelftest } from '../stages/publish/withhold/filter.ts';
import { withheldArtefact } from '../stages/publish/withhold/hidden-places.ts';
import { judgedProcess, type Withholding } from '../stages/publish/withhold/resolve.ts';
import { writeRenders } from '../stages/render/write-renders.ts';
import { estimateBuild } from '../stages/survey/describe/estimate.ts';
import type { LoadedCampaign } from '../stages/survey/load-campaign.ts';
import type { LoadedLayout } from '../stages/survey/load-layout.ts';
import { defaultThreads } from '../workers/pool.ts';
import { plateSteps } from './plate-steps.ts';
import { publicScan, sliceFacts } from './public-scan.ts';
import { layoutKey, type Overviews, siteScan, type VolumeScan } from './site-scan.ts';
import { type BuildSteps, lazily } from './steps.ts';
import { checkUnchanged } from './volume-files.ts';

/** What is shown of a drawing: withholding, and through it the layout's readers and its own code. */
const SHOWN_CODE = ['pipeline/stages/publish/withhold/resolve.ts', 'pipeline/stages/survey/load-layout.ts'];

/**
 * All stages of one volume, in their order. What looks for the place sees all of the drawing; what is published is made
 * from the drawing and the image without what is withheld.
 * @returns null for a scan that is left out whole, since places are withheld and it is not certain where it lies
 */
export async function buildScan(
  loaded: LoadedCampaign,
  layout: LoadedLayout | null,
  withheld: Withholding,
  scan: VolumeScan,
  options: BuildOptions,
  steps: BuildSteps,
  overviews: Overviews,
): Promise<FolioScan | null> {
  const { progress, signal } = options;
  const { process } = loaded;
  const { tiles } = loaded.campaign;
  const folder = join(steps.staging, 'data', scan.id);
  await mkdir(folder, { recursive: true });

  const sited = await siteScan(loaded, layout, scan, folder, options, steps, overviews);
  const { surveyed, content, placement, frame, plan, layers, drawing } = sited;
  const { survey, field } = surveyed;
  const { grid } = plan;
  const open = publicScan(loaded, withheld, sited);
  if (!open) {
    await rm(folder, { recursive: true });
    return null;
  }
  const { hidden, gone, shown } = open;
  const unspoken = hidden && { places: hidden, layers: new Set(gone.map(({ name }) => name)) };
  const { unit } = survey.grey;
  const threads = options.jobs ?? defaultThreads();
  const { bytesPerVoxel: voxelBytes } = sliceFacts(survey);
  steps.expected.push(
    estimateBuild({ shape: survey.shape, scan, process, layout, threads, tiles, voxelBytes }),
  );
  const { plates, brick, portraits, portraitsKey } = await steps.timed('plates', () =>
    plateSteps(
      ...([steps, open.job, content, folder] as const),
      {
        threads,
        memoryMb: options.memoryMb ?? null,
        slice: sliceFacts(survey),
      },
      progress,
      signal,
    ),
  );
  const portraitEntries = await steps.run(
    {
      ...{ name: 'portraits', stage: 'portraits', code: ['pipeline/stages/plate/write-portraits.ts'] },
      input: { portraitsKey, grid, unit, tiles },
    },
    folder,
    async ({ files }) => writePortraits(await portraits(), grid, unit, files, tiles),
  );
  // What is shown of a drawing follows from the drawing and from what is withheld.
  const { withhold } = loaded.campaign;
  const drawn = drawing && { layout: layoutKey(drawing.layout), process: drawing.process, withhold, grid };
  const renderEntries: Awaited<ReturnType<typeof writeRenders>> = shown
    ? await steps.run(
        {
          ...{
            name: 'renders',
            stage: 'renders',
            code: ['pipeline/stages/render/write-renders.ts', ...SHOWN_CODE],
          },
          input: { ...drawn, hidden: hidden?.drawing, tiles },
        },
        folder,
        ({ files }) => {
          const { layout: read, top } = shown.layout;
          return writeRenders(
            ...([read, top, shown.process, grid, files, scan.id, progress] as const),
            hidden?.drawing,
            tiles,
          );
        },
      )
    : new Map();

  const traced = lazily(async () =>
    traceWindow(shown!.layout.layout, shown!.layout.top, shown!.process, gridBoxUm(plan.grid)),
  );
  const judging = drawn && { ...drawn, placement, layers, portraitsKey };
  const judged = drawing
    ? await steps.run(
        {
          ...{ name: 'compare', stage: 'compare', input: judging },
          code: [
            'pipeline/stages/compare/compare-scan.ts',
            'pipeline/stages/connect/trace-window.ts',
            ...SHOWN_CODE,
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
            threads,
            ...(signal ? { signal } : {}),
          });
        },
      )
    : null;
  const compared = judged && {
    findings: unspoken ? shownFindings(judged.findings, unspoken) : judged.findings,
    selftest: judged.selftest && unspoken ? shownSelftest(judged.selftest, unspoken) : judged.selftest,
  };
  const findings = placement.verdict === 'locked' ? (compared?.findings ?? null) : null;
  const nets = shown
    ? await steps.run(
        {
          ...{ name: 'nets', stage: 'nets', input: { ...judging, findings, id: scan.id } },
          code: ['pipeline/stages/connect/write-nets.ts', ...SHOWN_CODE],
        },
        folder,
        async ({ files }) => {
          const { layout: read, top } = shown.layout;
          const seen = { id: scan.id, grid, layers, placement, portraits: await portraits(), findings };
          return writeNets(await traced(), seen, read, top, files, progress);
        },
      )
    : null;
  const { stepUm, zUm } = plan;
  const acquisition = scan.acquisition ?? null;
  const judgedStack = process && judgedProcess(process, withheld);
  const measurable = { placement, process: judgedStack, layers, grid, stepUm, zUm, unit, acquisition };
  const measurements = await steps.run(
    {
      ...{ name: 'measure', stage: 'measure' },
      ...{ code: ['pipeline/stages/measure/measure-scan.ts', ...SHOWN_CODE] },
      input: content && {
        ...{ ...measurable, portraitsKey, drawn, volume: content.key },
        ...{ mask: field.mask, broken: survey.broken_slices },
      },
    },
    folder,
    async () =>
      measureScan({
        ...{ ...measurable, drawing: shown?.layout ?? null, portraits: await portraits() },
        source: {
          ...{ spec: surveyed.spec, voxelToDieUm: placement.voxel_to_die_um, mask: field.mask },
          brokenSlices: survey.broken_slices,
          nameOf: (file) => relative(loaded.folder, file),
          ...(signal ? { signal } : {}),
        },
      }),
  );

  if (content)
    await steps.timed('checksums', () =>
      checkUnchanged(content.key, surveyed.spec, scan.id, steps, loaded.folder),
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
  if (sited.evidence) {
    const evidence = unspoken ? shownEvidence(sited.evidence, unspoken) : sited.evidence;
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
    portrait_tiles: plateTiles(true, tiles),
    render_tiles: renderTiles(hidden?.drawing != null, tiles),
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
