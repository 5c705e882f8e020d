/** pictures.json: the portrait and the render of each layer, on the plate grid of the scan. */
import { z } from 'zod';
import { greySchema, tilesSchema } from './plates.ts';

export const picturesSchema = z.object({
  version: z.literal(1),
  portrait_tiles: tilesSchema,
  render_tiles: tilesSchema,
  layers: z.array(
    z.object({
      name: z.string(),
      portrait: z
        .object({
          path: z.string().describe('Descriptor below the scan folder.'),
          plates: z.tuple([z.int(), z.int()]).describe('First and last plate combined.'),
          grey: greySchema,
        })
        .nullable()
        .describe('null where the scan does not reach the layer.'),
      render: z
        .object({
          path: z.string(),
          coverage: z.number().min(0).max(1).describe('Share of the grid that is drawn.'),
          shapes: z.int().nonnegative().describe('Drawn shapes that touch the grid.'),
        })
        .nullable()
        .describe('null where there is no drawing or no placement.'),
    }),
  ),
});

export type Pictures = z.output<typeof picturesSchema>;
