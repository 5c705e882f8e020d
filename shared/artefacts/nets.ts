/** nets.json: conductors joined through vias, and where image and drawing join them differently. */
import { z } from 'zod';

const place = z.object({ layer: z.string(), centre_um: z.tuple([z.number(), z.number()]) });
const fault = z.object({
  nets: z.array(z.string()).min(1),
  places: z.array(place),
  probability: z.number().min(0).max(1),
});

export const netsSchema = z.object({
  version: z.literal(1),
  nets: z.array(
    z.object({
      id: z.string().regex(/^n\d+$/),
      name: z.string(),
      layers: z.array(z.string()),
      box_um: z.tuple([z.number(), z.number(), z.number(), z.number()]),
      length_um: z.number().nonnegative(),
      vias: z.int().nonnegative(),
      leaves_field: z.boolean(),
    }),
  ),
  opens: z.array(fault),
  shorts: z.array(fault),
});

export type Nets = z.output<typeof netsSchema>;
