/**
 * The plates of a scan as OME-Zarr, for programs that work on volumes: greys as published (grey windows per plate are in
 * plates.json), and the drawing as labels on the plates that show a layer. Every tile of a pyramid becomes one chunk.
 */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { promisify } from 'node:util';
import { gzip } from 'node:zlib';
import { layersSchema } from '../../../../shared/artefacts/layers.ts';
import { picturesSchema } from '../../../../shared/artefacts/pictures.ts';
import { type Plates, platesSchema } from '../../../../shared/artefacts/plates.ts';
import { readJson } from '../../../../shared/artefacts/read.ts';
import { platePath } from '../../../../shared/plate-path.ts';
import { tileCounts } from '../../../../shared/pyramid.ts';
import { writeAtomically } from '../../../output/files.ts';
import { publishedGreys, type TilePlace } from '../published-greys.ts';
import { severalAtOnce } from '../record/hash-files.ts';
import { arrayMetadata, groupMetadata, multiscales, zarrLevels } from './metadata.ts';

const zip = promisify(gzip);
const json = (value: unknown): string => `${JSON.stringify(value, null, 1)}\n`;
export const ZARR_FOLDER = 'plates.zarr';

/**
 * @param folder of the scan, with plates.json and its pyramids
 * @throws InputFault where the disk refuses
 */
export async function writeZarr(folder: string, title: string): Promise<void> {
  const read = async <S extends Parameters<typeof readJson>[2]>(name: string, schema: S) =>
    readJson(await readFile(join(folder, name), 'utf8'), name, schema);
  const plates = await read('plates.json', platesSchema);
  const layers = await read('layers.json', layersSchema);
  const pictures = await read('pictures.json', picturesSchema);
  const root = join(folder, ZARR_FOLDER);
  const renders = new Map(
    pictures.layers.flatMap(({ name, render }) => (render ? [[name, render.path] as const] : [])),
  );
  const names = [...renders.keys()];

  await writeArrays(root, plates, async (plate, at) =>
    publishedGreys(folder, platePath(plates.path, plate), plates.tiles, at),
  );
  await writeAtomically(
    join(root, 'zarr.json'),
    json(
      groupMetadata({
        ome: { version: '0.5', multiscales: [multiscales(title, plates)], omero: greyChannel() },
      }),
    ),
  );
  if (names.length === 0) return;

  await writeArrays(join(root, 'labels', 'layers'), plates, async (plate, at) => {
    const layer = layers.plates[plate]?.layer ?? null;
    const path = layer === null ? undefined : renders.get(layer);
    if (layer === null || path === undefined) return null;
    const drawn = await publishedGreys(folder, path, pictures.render_tiles, at);
    return drawn?.map((value) => (value > 127 ? names.indexOf(layer) + 1 : 0)) ?? null;
  });
  await writeAtomically(
    join(root, 'labels', 'zarr.json'),
    json(groupMetadata({ ome: { version: '0.5', labels: ['layers'] } })),
  );
  await writeAtomically(
    join(root, 'labels', 'layers', 'zarr.json'),
    json(
      groupMetadata({
        ome: {
          version: '0.5',
          multiscales: [multiscales('layers', plates)],
          'image-label': {
            properties: names.map((name, n) => ({ 'label-value': n + 1, name })),
            source: { image: '../../' },
          },
        },
      }),
    ),
  );
}

const greyChannel = () => ({
  channels: [
    { active: true, color: 'FFFFFF', label: 'grey', window: { min: 0, max: 255, start: 0, end: 255 } },
  ],
});

/** @param chunkOf values of one tile, padded to its full size; null for one that holds nothing */
async function writeArrays(
  root: string,
  plates: Plates,
  chunkOf: (plate: number, at: TilePlace) => Promise<Uint8Array | null>,
): Promise<void> {
  const { width_px: width, height_px: height } = plates.grid;
  const size = { width, height, tilePx: plates.tiles.tile_px };
  for (const { path, pyramidLevel, shape } of zarrLevels(plates)) {
    await writeAtomically(join(root, path, 'zarr.json'), json(arrayMetadata(shape, size.tilePx)));
    const { columns, rows } = tileCounts(size, pyramidLevel);
    const perPlate = columns * rows;
    await severalAtOnce(
      Array.from({ length: shape[0] * perPlate }, (_, n) => n),
      async (n) => {
        const plate = Math.floor(n / perPlate);
        const row = Math.floor((n % perPlate) / columns);
        const column = n % columns;
        const values = await chunkOf(plate, [pyramidLevel, column, row]);
        // A chunk that is not there reads as the fill value.
        if (!values?.some((value) => value !== 0)) return;
        await writeAtomically(
          join(root, path, 'c', `${plate}`, `${row}`, `${column}`),
          await zip(values, { level: 5 }),
        );
      },
    );
  }
}
