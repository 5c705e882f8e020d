/** What a pane shows, painted anew from its tiles at print resolution. */
import type { TileLayout } from '../../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { levelSize, maximumLevel } from '../../../shared/pyramid.ts';
import type { Camera } from '../../lib/camera.ts';
import { engineFromDie } from '../../lib/camera.ts';
import { linearTint } from '../../lib/tint.ts';
import { readTile } from '../tile-reader.ts';

export interface PrintLayer {
  readonly path: string;
  readonly tiles: TileLayout;
  readonly opacity: number;
  /** "#rrggbb" for renders. */
  readonly tint: string | null;
}

/**
 * @param camera what is in view; its width fills the canvas
 * @param levels slope and intercept of the greys as they are displayed; null for as they are
 */
export async function printPicture(
  canvas: HTMLCanvasElement,
  root: string,
  grid: PlateGrid,
  camera: Camera,
  layers: readonly PrintLayer[],
  levels: { readonly slope: number; readonly intercept: number } | null,
): Promise<void> {
  const context = canvas.getContext('2d')!;
  context.fillStyle = '#0b0c0e';
  context.fillRect(0, 0, canvas.width, canvas.height);
  for (const layer of layers) await paintLayer(context, canvas, root, grid, camera, layer, levels);
}

async function paintLayer(
  context: CanvasRenderingContext2D,
  { width, height }: HTMLCanvasElement,
  root: string,
  grid: PlateGrid,
  camera: Camera,
  { path, tiles, opacity, tint }: PrintLayer,
  levels: { readonly slope: number; readonly intercept: number } | null,
): Promise<void> {
  const size = { width: grid.width_px, height: grid.height_px, tilePx: tiles.tile_px };
  // Pixels of the picture for one of the print.
  const perPrint = camera.widthUm / grid.pixel_um / width;
  const top = maximumLevel(size);
  const level = Math.max(0, top - Math.max(0, Math.floor(Math.log2(Math.max(1, perPrint)))));
  const shrink = 2 ** (top - level);
  const of = levelSize(size, level);
  const [u, v] = engineFromDie(grid, camera.xUm, camera.yUm);
  const scale = shrink / perPrint;
  const left = width / 2 - (u * grid.width_px) / perPrint;
  const upper = height / 2 - (v * grid.width_px) / perPrint;
  const side = tiles.tile_px;
  const first = (at: number): number => Math.max(0, Math.floor(-at / scale / side));
  const last = (at: number, room: number, all: number): number =>
    Math.min(Math.ceil(all / side) - 1, Math.floor((room - at) / scale / side));
  context.imageSmoothingEnabled = perPrint * 2 > 1;
  context.imageSmoothingQuality = 'high';
  context.globalAlpha = opacity;
  const jobs: Promise<void>[] = [];
  for (let column = first(left); column <= last(left, width, of.width); column++)
    for (let row = first(upper); row <= last(upper, height, of.height); row++)
      jobs.push(
        tileCanvas(readTile({ grid, tiles, root, path }, { level, column, row }), tint, levels).then(
          (tile) => {
            // Whole print pixels, so that no seam shows between tiles.
            const x0 = Math.round(left + column * side * scale);
            const y0 = Math.round(upper + row * side * scale);
            const x1 = Math.round(left + (column * side + tile.width) * scale);
            const y1 = Math.round(upper + (row * side + tile.height) * scale);
            context.globalAlpha = opacity;
            context.drawImage(tile, x0, y0, x1 - x0, y1 - y0);
          },
        ),
      );
  await Promise.all(jobs);
  context.globalAlpha = 1;
}

async function tileCanvas(
  tile: Promise<ImageBitmap>,
  tint: string | null,
  levels: { readonly slope: number; readonly intercept: number } | null,
): Promise<OffscreenCanvas> {
  const bitmap = await tile;
  const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
  const context = canvas.getContext('2d', { willReadFrequently: true })!;
  context.drawImage(bitmap, 0, 0);
  if (tint === null && levels === null) return canvas;
  const pixels = context.getImageData(0, 0, canvas.width, canvas.height);
  if (tint !== null) linearTint(pixels.data, tint);
  else if (levels) {
    const { data } = pixels;
    for (let at = 0; at < data.length; at++)
      if (at % 4 !== 3) data[at] = levels.slope * data[at]! + 255 * levels.intercept;
  }
  context.putImageData(pixels, 0, 0);
  return canvas;
}
