/** withheld.json of a scan, and what folio.json says of the whole: that something is not published, and where. */
import { z } from 'zod';

const box = z.tuple([z.number(), z.number(), z.number(), z.number()]);

export const withheldSchema = z.object({
  version: z.literal(1),
  places: z
    .array(
      z.object({
        kind: z.enum(['region', 'cell']),
        box_um: box.describe('Lowest X and Y, highest X and Y in the die frame, micrometres.'),
      }),
    )
    .describe('Places inside the plate grid that are not shown, each with its outline.'),
  more_cells: z
    .int()
    .nonnegative()
    .describe('Cells that are not shown beside those listed, where there are too many to list.'),
  in_image: z
    .enum(['regions', 'regions-and-cells'])
    .describe('Which of them are taken out of the image too; all are taken out of the drawing.'),
  margin_um: z
    .number()
    .nonnegative()
    .describe('How far beyond each outline the image is taken out, for the doubt about the placement.'),
  layers: z
    .array(z.object({ name: z.string(), drawing: z.enum(['in-part', 'whole']) }))
    .describe('Process layers whose drawing is withheld; they are neither compared nor measured.'),
});

/** What folio.json says. */
export const folioWithheldSchema = z.object({
  regions_um: z.array(box),
  cells: z.int().nonnegative().describe('Cell definitions of the layout that are not shown.'),
  drawn_layers: z.int().nonnegative().describe('Drawn layers of the layout that are not shown.'),
  layers: z.array(z.string()).describe('Process layers whose drawing is withheld, whole or in part.'),
  scans: z
    .array(z.object({ id: z.string(), title: z.string() }))
    .describe(
      'Scans left out whole: where on the die they lie is not certain, so nothing could be left out of them.',
    ),
});

export type Withheld = z.output<typeof withheldSchema>;
export type FolioWithheld = z.output<typeof folioWithheldSchema>;
