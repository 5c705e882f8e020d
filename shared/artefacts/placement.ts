/** placement.json: the map from voxel index to die frame, with its uncertainty and its runner-up. */
import { z } from 'zod';

const row4 = z.tuple([z.number(), z.number(), z.number(), z.number()]);
export const affine3Schema = z.tuple([row4, row4, row4]);

export const warpSchema = z.object({
  origin_um: z
    .tuple([z.number(), z.number()])
    .describe('Die x and y, as the affine map alone gives them, of the first value; rows go up with y.'),
  step_um: z.number().positive(),
  shape: z
    .tuple([z.int().positive(), z.int().positive()])
    .describe('Rows, columns; the first knot lies at the lowest X and Y, rows go up.'),
  dx_um: z.array(z.number()),
  dy_um: z.array(z.number()),
  dz_um: z.array(z.number()),
});

export const placementSchema = z.object({
  version: z.literal(1),
  voxel_to_die_um: affine3Schema.describe(
    'Maps [i, j, k, 1] to die micrometres; to the scan frame where source is none.',
  ),
  warp: warpSchema.nullable().describe('Displacements added in the die frame, on a coarse grid.'),
  source: z.enum(['automatic', 'landmarks', 'none']),
  verdict: z.enum(['locked', 'ambiguous', 'unplaced']),
  score: z
    .number()
    .nullable()
    .describe('Agreement of image and drawing, 0 to 1; null where it was not computed.'),
  runner_up: z.object({ score: z.number().nullable(), voxel_to_die_um: affine3Schema }).nullable(),
  residual_um: z.object({ median: z.number(), p95: z.number(), count: z.int().nonnegative() }).nullable(),
  uncertainty_um: z
    .object({ x: z.number(), y: z.number(), z: z.number() })
    .nullable()
    .describe('Standard uncertainties.'),
  depth_scale_sd: z
    .number()
    .nonnegative()
    .optional()
    .describe('Relative standard uncertainty of lengths in depth, the same for all of them.'),
  seen_from: z.enum(['front', 'back', 'unknown']),
  order: z.enum(['top-first', 'bottom-first', 'unknown']),
  method: z.string().describe('How the map was obtained, one plain sentence.'),
  doubts: z.array(z.string()),
});

export type Warp = z.output<typeof warpSchema>;
export type Placement = z.output<typeof placementSchema>;
export type Verdict = Placement['verdict'];

/** A scan that stands in a frame of its own: the map says how large it is and nothing of the die. */
export function unplaced(
  map: Placement['voxel_to_die_um'],
  said: { readonly seen_from: Placement['seen_from']; readonly order: Placement['order'] },
  method: string,
  doubt: string,
): Placement {
  return {
    version: 1,
    voxel_to_die_um: map,
    warp: null,
    source: 'none',
    verdict: 'unplaced',
    score: null,
    runner_up: null,
    residual_um: null,
    uncertainty_um: null,
    seen_from: said.seen_from,
    order: said.order,
    method,
    doubts: [doubt],
  };
}
