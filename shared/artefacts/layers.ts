/** layers.json: at which height every process layer lies in this scan, and which layer every plate shows. */
import { z } from 'zod';
import { roleSchema } from './process.ts';

export const layersSchema = z.object({
  version: z.literal(1),
  basis: z
    .enum(['measured', 'nominal', 'none'])
    .describe(
      'measured: from the image; nominal: heights of the process table through the placement; none: no stack.',
    ),
  layers: z.array(
    z.object({
      name: z.string(),
      role: roleSchema,
      bottom_um: z.number(),
      top_um: z.number(),
      sd_um: z.number().nonnegative().describe('Standard deviation of the height of a boundary on the die.'),
      bottom_sd_um: z.number().nonnegative().optional().describe('Of each boundary, where measured.'),
      top_sd_um: z.number().nonnegative().optional(),
      in_scan_sd_um: z
        .number()
        .nonnegative()
        .optional()
        .describe(
          'Of where a boundary lies in the scan: without zero and scale of the depth, which all heights share.',
        ),
      nominal_bottom_um: z.number(),
      nominal_top_um: z.number(),
      confidence: z.number().min(0).max(1),
      seen: z.enum(['whole', 'cut', 'outside']).describe('cut: the scan ends inside the layer.'),
      heights_from: z
        .enum(['image', 'neighbours'])
        .optional()
        .describe('Where measured: found in the image, or reckoned from the layers above and below.'),
    }),
  ),
  plates: z.array(
    z.object({
      index: z.int().nonnegative(),
      z_um: z.number(),
      slice: z.number().describe('File slice at the centre of the field of view.'),
      layer: z.string().nullable(),
      between: z
        .array(z.string())
        .optional()
        .describe('Layers below and above, where the plate lies in neither.'),
      confidence: z.number().min(0).max(1),
    }),
  ),
});

export type Layers = z.output<typeof layersSchema>;
export type LayerSpan = Layers['layers'][number];
export type PlateLabel = Layers['plates'][number];
