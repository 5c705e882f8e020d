/**
 * brick.json: the whole volume in small, for a browser that wants to answer at any height at once. Plane m is plate
 * m * every, each pixel the mean of `pixel_um` squared. Sheets are WebP mosaics of planes: plane `first + c` of a sheet
 * stands in its cell c, counted row by row from the upper left, each cell `columns` x `rows` pixels of the brick.
 */
import { z } from 'zod';

export const brickSchema = z
  .object({
    version: z.literal(1),
    columns: z.int().positive().describe('Pixels of a plane along X.'),
    rows: z.int().positive().describe('Pixels of a plane along Y, row 0 at the largest Y.'),
    plates: z.int().positive().describe('Plates of the scan, as in plates.json.'),
    every: z.int().positive().describe('One plane for so many plates: plane m shows plate m * every.'),
    pixel_um: z.number().positive().describe('Side of a pixel of the brick.'),
    origin_um: z.tuple([z.number(), z.number()]).describe('Centre of the upper left pixel of the brick.'),
    step_um: z.number().positive().describe('Height between neighbouring plates, as in plates.json.'),
    z_um: z.array(z.number()).describe('Height of each plate, as in plates.json.'),
    grey: z
      .object({ black: z.number(), white: z.number() })
      .describe('Values of the volume shown as grey 0 and 255 in all planes; linear in between.'),
    tile: z
      .object({ columns: z.int().positive(), rows: z.int().positive() })
      .describe('Cells of a sheet, across and down.'),
    sheets: z.array(
      z.object({
        file: z.string().describe('Below the scan folder. A transparent pixel holds no data.'),
        first: z.int().nonnegative().describe('Number of the plane in its first cell.'),
        count: z.int().positive().describe('Cells that hold a plane.'),
      }),
    ),
  })
  .refine((brick) => brick.z_um.length === brick.plates, { error: 'one height for each plate' });

export type Brick = z.output<typeof brickSchema>;
