/** survey.json: what the files of a scan are and how they were read. */
import { z } from 'zod';

export const surveySchema = z.object({
  version: z.literal(1),
  format: z.string(),
  files: z.int().positive(),
  first_file: z.string(),
  last_file: z.string(),
  bytes: z.int().nonnegative(),
  shape: z.object({ nz: z.int(), ny: z.int(), nx: z.int() }),
  type: z.string(),
  voxel_nm: z.object({ x: z.number(), y: z.number(), z: z.number() }),
  voxel_source: z.string().describe('campaign.yaml, or the metadata it was read from.'),
  grey: z.object({
    unit: z.string(),
    minimum: z.number(),
    p1: z.number(),
    median: z.number(),
    p99: z.number(),
    maximum: z.number(),
    sampled_voxels: z.int(),
  }),
  nodata: z.object({
    kind: z.enum(['none', 'nan', 'constant']),
    value: z.number().nullable(),
    fraction: z.number().min(0).max(1).describe('Share of a slice outside the field of view.'),
  }),
  broken_slices: z.array(z.int()).describe('Slices without structure, left out of the plates.'),
  checks: z.array(
    z.object({ name: z.string(), verdict: z.enum(['agrees', 'odd', 'note']), text: z.string() }),
  ),
  notes: z.array(z.string()),
});

export type Survey = z.output<typeof surveySchema>;
