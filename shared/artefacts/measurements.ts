/** measurements.json: what was measured on each layer, with uncertainty and method, and how fine the scan resolves. */
import { z } from 'zod';
import { roleSchema } from './process.ts';

export const contributionSchema = z.object({
  name: z.string(),
  kind: z.enum(['A', 'B']).describe('A: from the statistics of the readings; B: from other knowledge.'),
  um: z.number().nonnegative().describe('Standard uncertainty times sensitivity.'),
  dof: z.number().positive().nullable().describe('Degrees of freedom; null: many.'),
  how: z.string(),
});

export const quantitySchema = z.object({
  drawn_um: z
    .number()
    .nullable()
    .default(null)
    .describe('What the drawing says; null where it says nothing.'),
  value_um: z.number().describe('Best estimate: mean over the shapes, weighted by what is known of each.'),
  n: z.int().nonnegative().describe('Profiles.'),
  shapes: z.int().nonnegative().describe('Shapes they lie on: the independent readings.'),
  median_um: z.number(),
  sd_um: z.number().nonnegative().describe('Standard deviation of the profiles.'),
  uncertainty_um: z.number().nonnegative().describe('Combined standard uncertainty of value_um, k = 1.'),
  dof: z.number().positive().nullable().describe('Effective degrees of freedom; null: many.'),
  expanded_um: z.number().nonnegative().describe('Half-width of the 95 % interval.'),
  budget: z.array(contributionSchema),
  method: z.string().describe('Which entry of `methods`.'),
});

export const roughnessSchema = z.object({
  three_sigma_um: z.number().nonnegative().describe('Noise taken out; 0 where noise explains all.'),
  at_most_um: z.number().nonnegative().describe('One-sided 95 % limit.'),
  resolved: z.boolean().describe('Whether it stands out from the noise.'),
  as_seen_um: z.number().nonnegative().describe('With the noise in it.'),
  length_um: z.number().positive(),
  step_um: z.number().positive(),
  n: z.int().positive(),
  method: z.string(),
});

const checkSchema = z.object({
  name: z.string(),
  limit_um: z.number(),
  drawn_um: z.number().nullable(),
  found_um: z.number(),
  expanded_um: z.number(),
  verdict: z.enum(['kept', 'not kept', 'open']),
  text: z.string(),
  method: z.string().describe('Which entry of `methods` found_um was obtained by.'),
});

const layerMeasurementsSchema = z.object({
  name: z.string(),
  role: roleSchema,
  width: quantitySchema.nullable().describe('Of the narrowest drawn width that could be measured.'),
  space: quantitySchema.nullable(),
  pitch: quantitySchema.nullable(),
  via_size: quantitySchema
    .nullable()
    .describe('Side of the square of equal area, of the smallest drawn size.'),
  thickness: quantitySchema.nullable(),
  widths: z.array(quantitySchema).describe('By drawn width.'),
  spaces: z.array(quantitySchema),
  pitches: z.array(quantitySchema),
  vias: z.array(
    z.object({
      drawn_x_um: z.number(),
      drawn_y_um: z.number(),
      x: quantitySchema,
      y: quantitySchema,
      side: quantitySchema.nullable(),
    }),
  ),
  edges: z
    .object({
      n: z.int().positive(),
      median_um: z.number(),
      sd_um: z.number().nonnegative(),
      outward: quantitySchema.describe(
        'Mean over all edge directions: how far edges stand outside the drawing.',
      ),
      shift_x: quantitySchema.nullable(),
      shift_y: quantitySchema.nullable(),
      method: z.string(),
    })
    .nullable()
    .describe('Edge placement error, imaged minus drawn along the outward normal.'),
  line_edge_roughness: roughnessSchema.nullable(),
  line_width_roughness: roughnessSchema.nullable(),
  image: z
    .object({
      contrast: z.number().describe('Grey inside minus grey outside, in the unit of the volume.'),
      noise: z.number().nonnegative().describe('Standard deviation of a pixel of the portrait.'),
      noise_correlation: z.number().describe('Of two pixels side by side.'),
      blur_um: z.number().positive().describe('Standard deviation of the edge blur used.'),
      blur_sd_um: z.number().nonnegative(),
      blur_from: z.string(),
    })
    .nullable(),
  checks: z.array(checkSchema),
  refused: z.array(
    z.object({ what: z.string(), drawn_um: z.number().nullable(), tried: z.int(), reason: z.string() }),
  ),
});

const seriesSchema = z.array(z.number());

export const measurementsSchema = z.object({
  version: z.literal(1),
  basis: z
    .enum(['drawing', 'image'])
    .describe('drawing: profiles lie at drawn edges; image: resolution only.'),
  doubts: z.array(z.string()),
  layers: z.array(layerMeasurementsSchema),
  resolution: z.array(
    z.object({
      method: z.string(),
      name: z.string(),
      direction: z.enum(['in-plane', 'depth']),
      um: z.number().positive(),
      uncertainty_um: z.number().nonnegative().nullable(),
      layer: z.string().nullable(),
      text: z.string(),
    }),
  ),
  edge_spread: z
    .object({
      layer: z.string(),
      at_um: seriesSchema,
      share: seriesSchema.describe('Mean edge, 0 to 1.'),
      model: seriesSchema,
    })
    .nullable(),
  depth_spread: z
    .object({ layer: z.string(), z_um: seriesSchema, contrast: seriesSchema, model: seriesSchema })
    .nullable(),
  ring_correlation: z
    .object({
      layer: z.string(),
      halves: z.string().describe('How the two images came about that are compared.'),
      per_um: seriesSchema.describe('Spatial frequency of each ring, cycles per micrometre.'),
      correlation: seriesSchema,
      pixels: seriesSchema.describe('Independent pixels of each ring.'),
      half_bit: seriesSchema,
    })
    .nullable(),
  materials: z.object({
    basis: z.enum(['electron density', 'phase', 'contrast only']),
    text: z.string(),
    method: z.string(),
    layers: z.array(
      z.object({
        name: z.string(),
        contrast: z.number(),
        uncertainty: z.number().nonnegative(),
        ratio: z.number().nullable().describe('Contrast over that of the strongest layer.'),
        stated: z.string().nullable(),
        likeliest: z.string().nullable(),
        text: z.string(),
      }),
    ),
  }),
  methods: z.array(z.object({ id: z.string(), title: z.string(), text: z.string(), source: z.string() })),
});

export type Measurements = z.output<typeof measurementsSchema>;
export type LayerMeasurements = Measurements['layers'][number];
export type Quantity = z.output<typeof quantitySchema>;
export type Roughness = z.output<typeof roughnessSchema>;
