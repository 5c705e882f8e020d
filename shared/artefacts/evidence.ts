/**
 * evidence.json: why the placement is believed. What placement.json states as numbers is here as the curves, peaks
 * and arrows from which a reader can judge it: layer evidence against height, the correlation peak with its
 * runner-up, residuals over the field, and the scores of places that are known to be wrong.
 */
import { z } from 'zod';

const shift = z.object({
  dx_um: z.number().describe('From the placement to the peak, X of the die frame.'),
  dy_um: z.number().describe('From the placement to the peak, Y of the die frame.'),
  value: z.number().describe('Height of the peak, in the unit of the patch.'),
});

/** A square of correlation values round a peak; row 0 at the largest Y, as on a plate. */
export const peakPatchSchema = z
  .object({
    pixel_um: z.number().positive(),
    width_px: z.int().min(2).max(129),
    height_px: z.int().min(2).max(129),
    /** Shift of the centre of pixel (column 0, row 0) against the placement. */
    origin_um: z.tuple([z.number(), z.number()]),
    value: z.array(z.number()).describe('Row by row, width_px x height_px.'),
  })
  .refine((patch) => patch.value.length === patch.width_px * patch.height_px, {
    error: 'width_px x height_px values',
    path: ['value'],
  });

/** Places that are known to be wrong, which a sound score must rank below the placement. */
export const decoyKinds = [
  'mirrored',
  'rotated',
  'shifted',
  'shuffled-stack',
  'reversed-stack',
  'other-cell',
  'runner-up',
] as const;

export const evidenceSchema = z.object({
  version: z.literal(1),
  layers: z
    .array(
      z
        .object({
          layer: z.string(),
          z_um: z.array(z.number()).describe('Heights, rising.'),
          value: z.array(z.number()).describe('Agreement of image and render at each height, -1 to 1.'),
        })
        .refine((curve) => curve.z_um.length === curve.value.length, {
          error: 'as many values as heights',
          path: ['value'],
        }),
    )
    .describe(
      'How well each layer explains the image at each height; a layer without a drawing is left out.',
    ),
  peak: z
    .object({
      best: shift,
      patch: peakPatchSchema,
      runner_up: z
        .object({ at: shift, patch: peakPatchSchema })
        .nullable()
        .describe('The best place outside the main peak; its patch is drawn at the same scale of values.'),
    })
    .nullable()
    .describe('Correlation of all layers together over in-plane shifts; null where none was computed.'),
  residuals: z
    .array(
      z.object({
        x_um: z.number(),
        y_um: z.number(),
        dx_um: z.number().describe('What remained between image and drawing here, after the placement.'),
        dy_um: z.number(),
        used: z.boolean().describe('false: left out of the fit as an outlier.'),
        layer: z.string().optional(),
      }),
    )
    .describe('One arrow for each patch of the field.'),
  decoys: z.array(
    z.object({
      kind: z.enum(decoyKinds),
      score: z.number().describe('On the scale of placement.score.'),
      note: z.string().optional(),
    }),
  ),
  lattice_um: z
    .array(z.tuple([z.number(), z.number()]))
    .max(2)
    .optional()
    .describe('Steps by which the field repeats, where it does.'),
  words: z.array(z.string()).describe('What the evidence says, plain sentences, the most important first.'),
});

export type Evidence = z.output<typeof evidenceSchema>;
export type PeakPatch = z.output<typeof peakPatchSchema>;
