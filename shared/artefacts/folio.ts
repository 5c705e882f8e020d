/** data/folio.json: the front matter of a folio, all that is not of one scan alone. */
import { z } from 'zod';
import { acquisitionSchema, creatorSchema } from './campaign.ts';
import { processLayerSchema } from './process.ts';
import { folioWithheldSchema } from './withheld.ts';

const box = z.tuple([z.number(), z.number(), z.number(), z.number()]);

export const folioScanSchema = z.object({
  id: z.string(),
  title: z.string(),
  kind: z.enum(['volume', 'image']),
  frame: z.enum(['die', 'scan']),
  verdict: z.enum(['locked', 'ambiguous', 'unplaced']),
  /** Corners of the scanned field, in order round it, in the frame named above. */
  footprint_um: z.array(z.tuple([z.number(), z.number()])),
  z_um: z.tuple([z.number(), z.number()]).describe('Lowest and highest plate.'),
  acquisition: acquisitionSchema.nullable(),
  doubts: z.array(z.string()),
});

export const folioSchema = z.object({
  version: z.literal(1),
  software: z.object({ name: z.string(), version: z.string() }),
  title: z.string(),
  summary: z.string(),
  creators: z.array(creatorSchema),
  publisher: z.string().nullable(),
  year: z.int().nullable(),
  licence: z.string().nullable(),
  identifier: z.string().nullable(),
  chip: z.object({
    name: z.string(),
    process: z.string().nullable(),
    layout: z
      .object({
        file: z.string(),
        format: z.enum(['gdsii', 'oasis']),
        top: z.string(),
        box_um: box.nullable(),
        bytes: z.int(),
        sha256: z.string(),
        cells: z.int(),
        unused_drawn: z.array(z.object({ drawn: z.string(), shapes: z.int() })),
      })
      .nullable(),
  }),
  stack: z
    .array(processLayerSchema)
    .describe('Layers from the silicon up; empty where there is no process table.'),
  scans: z.array(folioScanSchema),
  withheld: folioWithheldSchema.nullable().default(null).describe('What is not published; null for nothing.'),
  doubts: z.array(z.string()).describe('Of the campaign as a whole; each scan carries its own.'),
});

export type Folio = z.output<typeof folioSchema>;
export type FolioScan = z.output<typeof folioScanSchema>;
