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
  bias: z
    .array(
      z.object({
        layer: z.string(),
        widening_um: z.number().describe('How far every edge stands outside the drawn one.'),
        widening_sd_um: z.number().nonnegative().nullable(),
        shift_um: point.describe(
          'How far the layer lies from its drawing, beyond the placement of the scan.',
        ),
        shift_sd_um: point.nullable(),
        blur_um: z.number().positive().optional().describe('Standard deviation of the blur in the plane.'),
        bright: z.boolean().optional().describe('Whether metal is brighter than what is around it.'),
        correlation: z
          .number()
          .optional()
          .describe('Of the image with its model, both without their slow parts.'),
      }),
    )
    .default([])
    .describe('What all edges of a layer have in common; never reported as findings.'),
  doubts: z.array(z.string()).default([]).describe('What could not be judged, and why.'),
});

export type Findings = z.output<typeof findingsSchema>;
