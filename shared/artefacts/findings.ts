/** findings.json: places where image and drawing differ, or could not be judged. */
import { z } from 'zod';

const point = z.tuple([z.number(), z.number()]);
const box = z.tuple([z.number(), z.number(), z.number(), z.number()]);

export const findingKinds = [
  'missing-shape',
  'missing-via',
  'extra-shape',
  'extra-via',
  'open',
  'bridge',
  'narrow',
  'wide',
  'shifted',
] as const;

export const findingsSchema = z.object({
  version: z.literal(1),
  judged_area_um2: z.record(z.string(), z.number().nonnegative()),
  findings: z.array(
    z.object({
      id: z.string().regex(/^F\d{4,}$/),
      kind: z.enum(findingKinds),
      layer: z.string(),
      centre_um: point,
      box_um: box,
      area_um2: z.number().nonnegative(),
      probability: z.number().min(0).max(1),
      nets: z.array(z.string()),
      note: z.string(),
    }),
  ),
  fill: z.array(
    z.object({
      layer: z.string(),
      count: z.int().nonnegative(),
      size_um: point,
      pitch_um: point,
      box_um: box,
    }),
  ),
});

export type Findings = z.output<typeof findingsSchema>;
