/** plates.json: the grid, the heights and the tiles of a scan's plates, and what a grey value means. */
import { z } from 'zod';

export const plateGridSchema = z.object({
  origin_um: z.tuple([z.number(), z.number()]).describe('X and Y of the centre of pixel (column 0, row 0).'),
  pixel_um: z.number().positive(),
  width_px: z.int().positive(),
  height_px: z.int().positive(),
});

export const greySchema = z.object({
  unit: z.string().describe('Unit of the volume; "arbitrary" where none is stated.'),
  black: z.number().describe('Value of the volume shown as grey 0.'),
  white: z.number().describe('Value of the volume shown as grey 255; linear in between.'),
});

export const tilesSchema = z.object({
  layout: z
    .enum(['deep-zoom', 'packed-tiff'])
    .describe('deep-zoom: a file per tile; packed-tiff: one tiled TIFF per picture, read by byte ranges.'),
  tile_px: z.int().positive(),
  overlap_px: z.literal(0),
  format: z.enum(['webp', 'jpg', 'png', 'deflate']).describe('Compression of a tile.'),
  nodata: z
    .enum(['transparent', 'none'])
    .describe(
      'transparent: a pixel without data is transparent, or 0 in the mask of a packed picture; never lossy.',
    ),
});

export const platesSchema = z.object({
  version: z.literal(1),
  frame: z.enum(['die', 'scan']).describe('scan: no placement; X, Y, Z are the scan box in micrometres.'),
  grid: plateGridSchema,
  step_um: z.number().positive().describe('Height between neighbouring plates.'),
  z_um: z.array(z.number()).describe('Height of each plate, lowest first.'),
  grey: z.object({
    unit: z.string().describe('Unit of the volume; "arbitrary" where none is stated.'),
    windows: z
      .array(z.object({ black: z.number(), white: z.number() }))
      .describe('For each plate, the values of the volume shown as grey 0 and 255; linear in between.'),
  }),
  tiles: tilesSchema,
  path: z
    .string()
    .describe('Descriptor of plate n below the scan folder; {index} stands for the number, four digits.'),
  /** Share of the grid that holds image data, over all plates. */
  covered: z.number().min(0).max(1),
});

export type Plates = z.output<typeof platesSchema>;
export type GreyMap = z.output<typeof greySchema>;
export type TileLayout = z.output<typeof tilesSchema>;
