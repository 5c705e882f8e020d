/** The stages of one flat picture. */
import { join, resolve } from 'node:path';
import type { FolioScan } from '../../shared/artefacts/folio.ts';
import { layersSchema } from '../../shared/artefacts/layers.ts';
import { placementSchema } from '../../shared/artefacts/placement.ts';
import { platesSchema } from '../../shared/artefacts/plates.ts';
import { gridBoxUm } from '../../shared/frames.ts';
import { writeArtefact } from '../output/files.ts';
import { writePicture } from '../stages/plate/write-picture.ts';
import type { LoadedCampaign } from '../stages/survey/load-campaign.ts';
import { picturePixelUm } from '../stages/survey/picture-pixel.ts';
import type { BuildSteps } from './steps.ts';
import { contentOfFile } from './volume-files.ts';

/** A flat picture: one plate in a frame of its own. */
export async function buildPicture(
  campaignFolder: string,
  scan: LoadedCampaign['campaign']['scans'][number],
  steps: BuildSteps,
): Promise<FolioScan> {
  const folder = join(steps.staging, 'data', scan.id);
  const name = scan.image!.file;
  const file = resolve(campaignFolder, name);
  const pixelUm = picturePixelUm(scan);
  const content = await contentOfFile(file, scan.id, campaignFolder, steps.cache);
  const { plates, layers, placement } = await steps.run(
    {
      ...{ name: 'picture', stage: 'pictures', code: ['pipeline/stages/plate/write-picture.ts'] },
      input: content && { file: content.key, name, pixelUm },
    },
    folder,
    ({ files }) => writePicture({ file, name, pixelUm }, files),
  );
  await writeArtefact(join(folder, 'plates.json'), platesSchema, plates);
  await writeArtefact(join(folder, 'layers.json'), layersSchema, layers);
  await writeArtefact(join(folder, 'placement.json'), placementSchema, placement);
  const [x0, y0, x1, y1] = gridBoxUm(plates.grid);
  return {
    id: scan.id,
    title: scan.title ?? scan.id,
    kind: 'image',
    frame: 'scan',
    verdict: 'unplaced',
    footprint_um: [
      [x0, y1],
      [x1, y1],
      [x1, y0],
      [x0, y0],
    ],
    z_um: [0, 0],
    acquisition: scan.acquisition ?? null,
    doubts: placement.doubts,
  };
}
