/** measurements.json: what was measured on each layer, with uncertainty and method. */
import { z } from 'zod';

export const quantitySchema = z.object({
  n: z.int().nonnegative(),
  median_um: z.number(),
  sd_um: z.number().nonnegative(),
  uncertainty_um: z.number().nonnegative().describe('Combined standard uncertainty, k = 1.'),
  method: z.string(),
});

export const measurementsSchema = z.object({
  version: z.literal(1),
  layers: z.array(
    z.object({
      name: z.string(),
      width: quantitySchema.nullable(),
      space: quantitySchema.nullable(),
      pitch: quantitySchema.nullable(),
      via_size: quantitySchema.nullable(),
      thickness: quantitySchema.nullable(),
    }),
  ),
  resolution: z.array(
    z.object({ method: z.string(), direction: z.enum(['in-plane', 'depth']), um: z.number().positive() }),
  ),
});

export type Measurements = z.output<typeof measurementsSchema>;
