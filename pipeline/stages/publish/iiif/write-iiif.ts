/**
 * A presentation manifest for each scan, so that the viewers of libraries and archives open it: portraits first, then
 * plates, each a plain image on a canvas as large as the plate grid.
 * @source IIIF Presentation API 3.0: Manifest, Canvas, AnnotationPage, Annotation, content resource; 3.1 "rights".
 */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import sharp from 'sharp';
import type { Folio } from '../../../../shared/artefacts/folio.ts';
import { layersSchema } from '../../../../shared/artefacts/layers.ts';
import { picturesSchema } from '../../../../shared/artefacts/pictures.ts';
import { platesSchema } from '../../../../shared/artefacts/plates.ts';
import { readJson } from '../../../../shared/artefacts/read.ts';
import { platePath } from '../../../../shared/plate-path.ts';
import { coarsePath, type TileForm } from '../../../../shared/tile-path.ts';
import { writeAtomically } from '../../../output/files.ts';

const CONTEXT = 'http://iiif.io/api/presentation/3/context.json';

/** Below the folio. */
export const manifestPath = (scan: string): string => `iiif/${scan}/manifest.json`;

interface Still {
  readonly label: string;
  /** Below the folio. */
  readonly path: string;
}

/**
 * @param address where the folio will be published, with a slash at its end; null where that is not known: addresses in
 *   the manifest are then relative to it, which not every viewer resolves
 * @returns paths of the manifests below the folio
 */
export async function writeManifests(
  folder: string,
  folio: Folio,
  address: string | null,
): Promise<string[]> {
  const made: string[] = [];
  for (const scan of folio.scans) {
    const stills = await stillsOf(folder, scan.id);
    if (stills.length === 0) continue;
    const grid = await read(join(folder, 'data', scan.id), 'plates.json', platesSchema);
    const base = address ?? '../../';
    const own = address ? `${address}iiif/${scan.id}/` : './';
    const { width_px: width, height_px: height } = grid!.grid;
    const items = await Promise.all(
      stills.map(async ({ label, path }, n) => {
        const image = await sharp(join(folder, path)).metadata();
        const canvas = `${own}canvas/${n + 1}`;
        const body = {
          ...{ id: `${base}${path}`, type: 'Image', format: `image/${image.format}` },
          ...{ width: image.width, height: image.height },
        };
        const annotation = {
          id: `${canvas}/image`,
          type: 'Annotation',
          motivation: 'painting',
          body,
          target: canvas,
        };
        return {
          ...{ id: canvas, type: 'Canvas', label: { en: [label] }, width, height },
          items: [{ id: `${canvas}/page`, type: 'AnnotationPage', items: [annotation] }],
        };
      }),
    );
    const rights = rightsAddress(folio.licence);
    const path = manifestPath(scan.id);
    await writeAtomically(
      join(folder, path),
      `${JSON.stringify(
        {
          '@context': CONTEXT,
          id: `${own}manifest.json`,
          type: 'Manifest',
          label: { en: [`${scan.title}: ${folio.title}`] },
          ...(folio.summary ? { summary: { en: [plain(folio.summary)] } } : {}),
          ...(rights ? { rights } : {}),
          metadata: [
            { label: { en: ['Chip'] }, value: { none: [plain(folio.chip.name)] } },
            ...(folio.creators.length > 0
              ? [
                  {
                    label: { en: ['Creators'] },
                    value: { none: folio.creators.map(({ name }) => plain(name)) },
                  },
                ]
              : []),
          ],
          items,
        },
        null,
        1,
      )}\n`,
    );
    made.push(path);
  }
  return made;
}

/** Values may hold markup, and are taken for it where they begin with < and end with >. @source 4.4 "HTML markup" */
const plain = (text: string): string => (text.trim().startsWith('<') ? `\u200b${text}` : text);

/** Only licences of Creative Commons and RightsStatements.org have a place here. @source 3.1 "rights" */
function rightsAddress(licence: string | null): string | null {
  if (licence === 'CC0-1.0') return 'http://creativecommons.org/publicdomain/zero/1.0/';
  const parts = /^CC-(BY(?:-NC)?(?:-ND|-SA)?)-(\d\.\d)$/.exec(licence ?? '');
  return parts ? `http://creativecommons.org/licenses/${parts[1]!.toLowerCase()}/${parts[2]}/` : null;
}

/** The pictures of a scan that lie there as single files. */
async function stillsOf(folder: string, scan: string): Promise<Still[]> {
  const data = join(folder, 'data', scan);
  const plates = await read(data, 'plates.json', platesSchema);
  const layers = await read(data, 'layers.json', layersSchema);
  const pictures = await read(data, 'pictures.json', picturesSchema);
  if (!plates) return [];
  const size = { width: plates.grid.width_px, height: plates.grid.height_px, tilePx: plates.tiles.tile_px };
  const still = (label: string, descriptor: string, tiles: TileForm): Still => ({
    label,
    path: `data/${scan}/${coarsePath(descriptor, size, tiles)}`,
  });
  const portraits = (pictures?.layers ?? []).flatMap(({ name, portrait }) =>
    portrait ? [still(`Portrait of ${name}`, portrait.path, pictures!.portrait_tiles)] : [],
  );
  const all = [
    ...portraits,
    ...plates.z_um.map((z, n) => {
      const layer = layers?.plates[n]?.layer;
      return still(
        `Plate at ${z.toFixed(3)} µm${layer ? `, ${layer}` : ''}`,
        platePath(plates.path, n),
        plates.tiles,
      );
    }),
  ];
  const there = await Promise.all(
    all.map(({ path }) =>
      sharp(join(folder, path))
        .metadata()
        .then(
          () => true,
          () => false,
        ),
    ),
  );
  return all.filter((_, n) => there[n]);
}

async function read<S extends Parameters<typeof readJson>[2]>(folder: string, name: string, schema: S) {
  const text = await readFile(join(folder, name), 'utf8').catch(() => null);
  return text === null ? null : readJson(text, name, schema);
}
