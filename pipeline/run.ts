/** The build. This file and its folder are the only place that knows all stages and their order. */
import { join, resolve } from 'node:path';
import { performance } from 'node:perf_hooks';
import { type FolioScan, folioSchema } from '../shared/artefacts/folio.ts';
import { reviewsSchema } from '../shared/artefacts/reviews.ts';
import type { FolioWithheld } from '../shared/artefacts/withheld.ts';
import { InterruptedFault } from '../shared/errors.ts';
import type { BuildOptions, BuildSummary } from './build-options.ts';
import { lockBuild } from './engine/build-lock.ts';
import { cachePlace } from './engine/cache-place.ts';
import { StepStore } from './engine/step-store.ts';
import { writeArtefact } from './output/files.ts';
import { openStaging, type Staging } from './output/staging.ts';
import { buildPages } from './run/build-pages.ts';
import { buildPicture } from './run/build-picture.ts';
import { buildScan } from './run/build-scan.ts';
import { workOnCluster } from './run/cluster/work-on-cluster.ts';
import { inputFiles } from './run/input-files.ts';
import { prepare } from './run/prepare.ts';
import { scanOrder } from './run/scan-order.ts';
import type { Overviews } from './run/site-scan.ts';
import { BuildSteps } from './run/steps.ts';
import { writeBag } from './stages/publish/bag.ts';
import { campaignDoubts, folioFrontMatter } from './stages/publish/front-matter.ts';
import { writeManifests } from './stages/publish/iiif/write-iiif.ts';
import { checkLessons, lessonFiles } from './stages/publish/lessons.ts';
import { writeManifest } from './stages/publish/manifest.ts';
import { writeCrate, writeRecord } from './stages/publish/record/write-record.ts';
import { readReviews } from './stages/publish/reviews.ts';
import { folioWithheld, shownLayout, shownProcess } from './stages/publish/withhold/resolve.ts';
import { checkWords, leftOutDoubt } from './stages/publish/withhold/words.ts';
import { writeTiff } from './stages/publish/write-tiff.ts';
import { writeZarr } from './stages/publish/zarr/write-zarr.ts';
import { writeZip } from './stages/publish/zip.ts';
import { checkFound, insideCampaign } from './stages/survey/inside-campaign.ts';
import { readNamed } from './stages/survey/load-campaign.ts';
import { picturePixelUm } from './stages/survey/picture-pixel.ts';
import { publishedPath } from './stages/survey/volume-spec.ts';
import { LIBRARIES, SOFTWARE } from './version.ts';

/**
 * Builds a folio from a campaign folder, beside its place first.
 * @throws InputFault, InterruptedFault; in both cases what stood at the target before still stands
 */
export async function buildFolio(campaignPath: string, options: BuildOptions): Promise<BuildSummary> {
  const started = performance.now();
  const stages = new Map<string, number>();
  const timed = async <T>(name: string, work: () => Promise<T>): Promise<T> => {
    if (options.signal?.aborted) throw new InterruptedFault();
    const from = performance.now();
    try {
      return await work();
    } catch (error) {
      if (options.signal?.aborted) throw new InterruptedFault();
      throw error;
    } finally {
      stages.set(name, (stages.get(name) ?? 0) + (performance.now() - from) / 1000);
    }
  };
  const prepared = await prepare(campaignPath, options.allowOutside ?? false, timed);
  const { loaded, layout, withheld } = prepared;
  const target = resolve(options.out ?? join(loaded.folder, 'folio'));
  const lessons = await lessonFiles(loaded.folder, loaded.campaign.lessons, (files) =>
    checkFound(loaded.folder, files, 'lessons', loaded.allowOutside),
  );
  await checkLessons(lessons, loaded.campaign, loaded.process);
  const words = loaded.campaign.glossary ?? null;
  const glossary = words && (await insideCampaign(loaded.folder, words, 'glossary', loaded.allowOutside));
  if (words) await readNamed(loaded.folder, words, 'glossary');
  const reviews = await readReviews(
    loaded.folder,
    loaded.campaign.scans.map((scan) => scan.id),
    (file) => checkFound(loaded.folder, [file], 'reviews.csv', loaded.allowOutside),
  );
  for (const scan of loaded.campaign.scans) if (scan.image) picturePixelUm(scan);
  await checkWords(loaded, glossary ? [...lessons, glossary] : lessons, reviews, withheld);
  const cache = await cachePlace(loaded.folder);
  const locks = [await lockBuild(join(cache, 'lock'), loaded.folder)];
  let staging: Staging | null = null;
  try {
    locks.push(await lockBuild(`${target}.lock`, target));
    staging = await openStaging(target);
    // On a cluster other machines make the entries: what is to be passed over has to be gone.
    const store = new StepStore(cache, options.force && options.engine !== 'slurm');
    if (options.force && options.engine === 'slurm') await store.clear();
    const steps = new BuildSteps(store, cache, staging.folder, timed);
    if (options.engine === 'slurm') await workOnCluster(prepared, steps, options);
    await store.clearWork();
    const scans: FolioScan[] = [];
    const leftOut: FolioWithheld['scans'] = [];
    const overviews: Overviews = new Map();
    for (const scan of scanOrder(loaded.campaign)) {
      const built = scan.image
        ? withheld.hidesPlaces
          ? null
          : await buildPicture(loaded, layout, withheld, scan, options, steps)
        : await buildScan(loaded, layout, withheld, scan, options, steps, overviews);
      if (built) scans.push(built);
      else leftOut.push({ id: scan.id, title: scan.title ?? scan.id });
    }
    const order = loaded.campaign.scans.map(({ id }) => id);
    scans.sort((a, b) => order.indexOf(a.id) - order.indexOf(b.id));
    const own = [...campaignDoubts(loaded, layout), ...leftOut.map(leftOutDoubt)];
    const doubts = [
      ...own,
      ...scans.flatMap((scan) => scan.doubts.map((doubt) => `${scan.title}: ${doubt}`)),
    ];
    const { process: stack } = loaded;
    const folio = folioFrontMatter(
      { ...loaded, process: stack && shownProcess(stack, withheld) },
      layout && {
        ...shownLayout(layout, withheld),
        file: publishedPath(loaded.folder, resolve(loaded.folder, layout.file)),
      },
      scans,
      own,
      SOFTWARE,
      folioWithheld(withheld, stack, leftOut),
    );
    await writeArtefact(join(staging.folder, 'data', 'folio.json'), folioSchema, folio);
    if (reviews) await writeArtefact(join(staging.folder, 'data', 'reviews.json'), reviewsSchema, reviews);
    const sources = await inputFiles(
      loaded,
      lessons,
      reviews !== null,
      new Set(scans.map(({ id }) => id)),
      steps.volumes,
    );
    const { folder } = staging;
    const inputs = await timed('record', () => writeRecord(folder, folio, sources, steps.inputSums));
    await timed('record', () => writeManifests(folder, folio, loaded.campaign.address ?? null));
    for (const { id, title } of scans.filter(({ kind }) => kind === 'volume')) {
      if (options.zarr) await timed('zarr', () => writeZarr(join(folder, 'data', id), title));
      if (options.tiff) await timed('tiff', () => writeTiff(join(folder, 'data', id)));
    }
    if (!options.dataOnly) await buildPages(steps, lessons, glossary, options);
    const described = { folio, inputs, scans: loaded.campaign.scans, libraries: LIBRARIES };
    const size = await timed('checksums', () =>
      writeManifest(folder, SOFTWARE, steps.sums, (files) => writeCrate(folder, described, files)),
    );
    await staging.commit();
    await store.prune();
    if (options.bag) await timed('bag', () => writeBag(target, `${target}-bag`, folio));
    if (options.zip) await timed('zip', () => writeZip(target, target));
    const seconds = (performance.now() - started) / 1000;
    const whole = store.counts.found === 0 && !options.dataOnly && steps.expected.length > 0;
    const sum = (of: 'seconds' | 'bytes' | 'files') => steps.expected.reduce((all, one) => all + one[of], 0);
    // Volumes are worked on one after the other.
    const memoryMb = Math.max(0, ...steps.expected.map((one) => one.memoryMb));
    const expected = whole
      ? { seconds: sum('seconds'), memoryMb, bytes: sum('bytes'), files: sum('files') }
      : null;
    const peakMb = (process.resourceUsage().maxRSS * 1024) / 1e6;
    return { folio: target, ...size, seconds, peakMb, stages, steps: store.counts, expected, doubts };
  } catch (error) {
    await staging?.discard();
    throw error;
  } finally {
    for (const lock of locks) await lock.release();
  }
}
