/** Readings made in a browser, as they are saved and read in again. */
import { z } from 'zod';

export const READING_KINDS = [
  'width',
  'space',
  'pitch',
  'via',
  'distance',
  'angle',
  'area',
  'profile',
  'thickness',
  'height',
] as const;

export const readingValueSchema = z.object({
  name: z.string().describe('What it is: "width", "pitch", "dx", "area" ...'),
  value: z.number(),
  unit: z.string().describe('um, um2, deg, or the unit of the volume for greys.'),
  expanded: z.number().nonnegative().nullable().describe('Half-width of the 95 % interval; null: not told.'),
  drawn: z.number().nullable().describe('The same in the drawing; null where the drawing says nothing.'),
});

export const readingSchema = z.object({
  kind: z.enum(READING_KINDS),
  scan: z.string(),
  frame: z.enum(['die', 'scan']),
  layer: z.string().nullable(),
  plate: z.int().nonnegative().describe('Number of the plate measured on; of the nearest one in a section.'),
  z_um: z.number(),
  points_um: z
    .array(z.tuple([z.number(), z.number(), z.number()]))
    .min(1)
    .describe('X, Y, Z of the points that were put.'),
  average_um: z.number().nonnegative().nullable().describe('Extent across the path that was averaged.'),
  pointing_um: z
    .number()
    .nonnegative()
    .nullable()
    .describe('What a point may be off by either way; null: edges were found.'),
  values: z.array(readingValueSchema).min(1),
  resolution_um: z
    .number()
    .positive()
    .nullable()
    .describe('10 to 90 % of an edge, in the direction measured.'),
  method: z.string(),
  software: z.string().describe('Name and version.'),
  made: z.string().describe('Day, ISO 8601.'),
  note: z.string().default(''),
  doubts: z.array(z.string()).default([]),
});

export const readingsSchema = z.object({
  version: z.literal(1),
  folio: z.string().describe('Title of the folio that was measured in.'),
  chip: z.string(),
  readings: z.array(readingSchema),
});

export type Readings = z.output<typeof readingsSchema>;
