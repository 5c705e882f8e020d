/** The stages of one flat picture. */
import { join, resolve } from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import type { FolioScan } from '../../shared/artefacts/folio.ts';
import { layersSchema } from '../../shared/artefacts/layers.ts';
import { picturesSchema } from '../../shared/artefacts/pictures.ts';
import { type Placement, placementSchema, unplaced } from '../../shared/artefacts/placement.ts';
import { platesSchema } from '../../shared/artefacts/plates.ts';
import type { Process } from '../../shared/artefacts/process.ts';
import { gridBoxUm } from '../../shared/frames.ts';
import type { BuildOptions } from '../build-options.ts';
import { pictureSize } from '../formats/picture.ts';
import { writeArtefact } from '../output/files.ts';
import { plateTiles, renderTiles } from '../output/pyramid.ts';
import { placePictureByLandmarks } from '../stages/place/picture/picture-landmarks.ts';
import { placePicture } from '../stages/place/picture/place-picture.ts';
import { planPlates } from '../stages/place/plan-plates.ts';
import { writePlacedPicture } from '../stages/plate/placed-picture.ts';
import { writePicture } from '../stages/plate/write-picture.ts';
import { shownLayout, type Withholding, withheldLayers } from '../stages/publish/withhold/resolve.ts';
import { writeRenders } from '../stages/render/write-renders.ts';
import { type LoadedCampaign, readNamed } from '../stages/survey/load-campaign.ts';
import type { LoadedLayout } from '../stages/survey/load-layout.ts';
import { picturePixelUm } from '../stages/survey/picture-pixel.ts';
import { layoutKey, type VolumeScan } from './site-scan.ts';
import type { BuildSteps } from './steps.ts';
import { contentOfFile } from './volume-files.ts';

const LAYOUT_CODE = 'pipeline/stages/survey/load-layout.ts';
/** How far off a hint may be where the campaign does not say, micrometres. */
const HINT_UM = 20;

/** A flat picture: one plate, in the die frame where its place is found, else in a frame of its own. */
export async function buildPicture(
  loaded: LoadedCampaign,
  layout: LoadedLayout | null,
  withheld: Withholding,
  scan: VolumeScan,
  options: BuildOptions,
  steps: BuildSteps,
): Promise<FolioScan> {
  const folder = join(steps.staging, 'data', scan.id);
  const name = scan.image!.file;
  const file = resolve(loaded.folder, name);
  const pixelUm = picturePixelUm(scan);
  const content = await contentOfFile(file, scan.id, loaded.folder, steps);
  const key = content?.key ?? null;
  const job = { file, name, pixelUm };
  const placement = await placeOf(loaded, layout, scan, job, key, folder, options, steps);
  if (placement.source === 'none') return inOwnFrame(scan, job, key, placement, folder, steps);

  const { width, height } = await pictureSize(file, name);
  const plan = planPlates(placement.voxel_to_die_um, [0, 0, width, height], 1);
  const layer = highestDrawn(loaded.process);
  const { plates, layers } = await steps.run(
    {
      ...{ name: 'picture', stage: 'pictures', code: ['pipeline/stages/plate/placed-picture.ts'] },
      input: key && { key, name, placement, grid: plan.grid, layer },
    },
    folder,
    ({ files }) => writePlacedPicture({ ...job, placement, grid: plan.grid, layer }, files),
  );
  const { process } = loaded;
  const hidden = new Set(withheldLayers(process, withheld).map((l) => l.name));
  const shown = process && { ...process, layers: process.layers.filter((l) => !hidden.has(l.name)) };
  const renders = await steps.run(
    {
      ...{
        name: 'renders',
        stage: 'renders',
        code: ['pipeline/stages/render/write-renders.ts', LAYOUT_CODE],
      },
      input: layout &&
        key && {
          ...{ layout: layoutKey(layout), process, withhold: loaded.campaign.withhold, grid: plan.grid },
        },
    },
    folder,
    async ({ files }) =>
      layout && shown
        ? writeRenders(
            ...([shownLayout(layout, withheld).layout, layout.top, shown, plan.grid] as const),
            ...([files, scan.id, options.progress] as const),
          )
        : new Map(),
  );
  await writeArtefact(join(folder, 'plates.json'), platesSchema, plates);
  await writeArtefact(join(folder, 'layers.json'), layersSchema, layers);
  await writeArtefact(join(folder, 'placement.json'), placementSchema, placement);
  await writeArtefact(join(folder, 'pictures.json'), picturesSchema, {
    version: 1,
    portrait_tiles: plateTiles(true),
    render_tiles: renderTiles(false),
    layers: (process?.layers ?? []).map((l) => ({
      name: l.name,
      portrait: null,
      render: renders.get(l.name) ?? null,
    })),
  });
  const zUm = placement.voxel_to_die_um[2][3];
  return {
    ...common(scan, placement),
    frame: 'die',
    footprint_um: plan.footprintUm.map(([x, y]) => [x, y]),
    z_um: [zUm, zUm],
  };
}

/** Landmarks where there are some; else the drawing, where there is one. */
async function placeOf(
  loaded: LoadedCampaign,
  layout: LoadedLayout | null,
  scan: VolumeScan,
  job: { readonly file: string; readonly name: string; readonly pixelUm: number },
  key: string | null,
  folder: string,
  options: BuildOptions,
  steps: BuildSteps,
): Promise<Placement> {
  const { process } = loaded;
  const base = pictureFrame(job.pixelUm, (await pictureSize(job.file, job.name)).height);
  if (scan.placement) {
    const named = scan.placement.landmarks;
    const text = await readNamed(loaded.folder, named, `scan "${scan.id}", placement.landmarks`);
    return placePictureByLandmarks({ name: named, text }, job.pixelUm, scan.seen_from, base);
  }
  if (!layout?.boxUm || !process) return base;
  const { near_um: near, within_um: within = HINT_UM } = scan;
  const saidUm = near
    ? ([near[0] - within, near[1] - within, near[0] + within, near[1] + within] as const)
    : null;
  return steps.run(
    {
      ...{ name: 'place', stage: 'placement' },
      code: ['pipeline/stages/place/picture/place-picture.ts', LAYOUT_CODE],
      input: key && { key, base, saidUm, pixelUm: job.pixelUm, layout: layoutKey(layout), process },
    },
    folder,
    () => {
      options.progress.line(`place ${scan.id.padEnd(16)} being looked for`);
      const pause = async (): Promise<void> => {
        await nextTurn();
        options.signal?.throwIfAborted();
      };
      return placePicture(
        {
          ...{ ...job, layout: layout.layout, top: layout.top, layoutBoxUm: layout.boxUm! },
          ...{ process, saidUm, pause },
        },
        base,
      );
    },
  );
}

/** The picture in micrometres: X along the rows, Y up. Says nothing of the die. */
const pictureFrame = (pixelUm: number, height: number): Placement =>
  unplaced(
    [
      [pixelUm, 0, 0, 0],
      [0, -pixelUm, 0, (height - 1) * pixelUm],
      [0, 0, pixelUm, 0],
    ],
    { seen_from: 'unknown', order: 'unknown' },
    'No placement: the picture stands in a frame of its own.',
    'Where on the die this picture lies is not known.',
  );

async function inOwnFrame(
  scan: VolumeScan,
  job: { readonly file: string; readonly name: string; readonly pixelUm: number },
  key: string | null,
  placement: Placement,
  folder: string,
  steps: BuildSteps,
): Promise<FolioScan> {
  const { plates, layers } = await steps.run(
    {
      ...{ name: 'picture', stage: 'pictures', code: ['pipeline/stages/plate/write-picture.ts'] },
      input: key && { file: key, name: job.name, pixelUm: job.pixelUm },
    },
    folder,
    ({ files }) => writePicture(job, files),
  );
  await writeArtefact(join(folder, 'plates.json'), platesSchema, plates);
  await writeArtefact(join(folder, 'layers.json'), layersSchema, layers);
  await writeArtefact(join(folder, 'placement.json'), placementSchema, placement);
  const [x0, y0, x1, y1] = gridBoxUm(plates.grid);
  return {
    ...common(scan, placement),
    frame: 'scan',
    footprint_um: [
      [x0, y1],
      [x1, y1],
      [x1, y0],
      [x0, y0],
    ],
    z_um: [0, 0],
  };
}

const common = (
  scan: VolumeScan,
  { verdict, doubts }: Placement,
): Omit<FolioScan, 'frame' | 'footprint_um' | 'z_um'> => ({
  ...{ id: scan.id, title: scan.title ?? scan.id, kind: 'image' as const, verdict },
  ...{ acquisition: scan.acquisition ?? null, doubts: [...doubts] },
});

/** The layer that a picture of the top shows first. */
function highestDrawn(process: Process | null): string | null {
  const metals = (process?.layers ?? []).filter((l) => l.role === 'conductor' && l.drawn.length > 0);
  return metals.sort((a, b) => b.bottom_um - a.bottom_um)[0]?.name ?? null;
}
