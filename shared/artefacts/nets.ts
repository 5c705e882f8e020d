/**
 * nets.json: conductors joined through vias, and where image and drawing join them differently.
 *
 * A net is a set of drawn shapes inside (or touching) the window of the plate grid that are one conductor. What it
 * looks like and where it lies is kept beside this file, see `net-lookup.ts`.
 */
import { z } from 'zod';

const point = z.tuple([z.number(), z.number()]);
const box = z.tuple([z.number(), z.number(), z.number(), z.number()]);
const netId = z.string().regex(/^n\d+$/);

const place = z.object({
  layer: z.string(),
  centre_um: point,
  box_um: box.optional(),
  finding: z.string().optional().describe('The finding this place follows from, such as "F0007".'),
});

const fault = z.object({
  nets: z.array(z.string()).min(1).describe('Names, as in `nets`.'),
  net_ids: z.array(netId).default([]).describe('The same nets by id; names may occur twice.'),
  places: z.array(place),
  probability: z.number().min(0).max(1),
  note: z.string().default('').describe('One plain sentence.'),
  may_join_outside: z
    .boolean()
    .default(false)
    .describe(
      'What is apart here leaves the window on two sides, and the drawing beyond was too large to follow: it may be one.',
    ),
});

export const netSummarySchema = z.object({
  id: netId.describe('n1, n2 ... in the order of the lowest, then southernmost, then westernmost shape.'),
  name: z
    .string()
    .describe(
      'The label with most votes; else "cell/label" or "cell/label@x,y" of a label inside a cell; else "layer@x,y" of its first shape.',
    ),
  names: z.array(z.string()).default([]).describe('Every different label on the net, most votes first.'),
  name_from: z
    .enum(['label', 'cell-label', 'place'])
    .default('label')
    .describe(
      'label: of the chip; cell-label: of a cell inside, which need not be the name on the chip; place: no label.',
    ),
  layers: z.array(z.string()).describe('From the silicon up.'),
  box_um: box.describe('Of all its shapes, the parts outside the window included.'),
  length_um: z
    .number()
    .nonnegative()
    .describe('Estimate of the centre-line length of its conductors, vias not counted.'),
  vias: z.int().nonnegative(),
  shapes: z.int().nonnegative().default(0).describe('Drawn shapes, vias included.'),
  leaves_field: z.boolean().describe('Some of it lies outside the field the scan shows: it may go on there.'),
  unseen_layers: z.array(z.string()).default([]).describe('Layers of the net that the scan does not reach.'),
  imaged: z
    .enum(['alike', 'parted', 'joined', 'unjudged'])
    .default('unjudged')
    .describe(
      'How the image by itself joins it, without the findings. alike: as drawn, as far as it was looked at; parted, ' +
        'joined: otherwise; unjudged: no place of it could be looked at.',
    ),
  shards: z
    .tuple([z.int().nonnegative(), z.int().nonnegative()])
    .default([0, 0])
    .describe('First shard that holds its shapes, and how many; see net-lookup.ts.'),
});

export const netsSchema = z.object({
  version: z.literal(1),
  nets: z.array(netSummarySchema),
  opens: z.array(
    fault.extend({
      pieces: z
        .array(
          z.object({
            box_um: box,
            layers: z.array(z.string()),
            shapes: z.int().positive(),
            leaves_field: z.boolean(),
          }),
        )
        .default([])
        .describe('What the net falls into, largest first.'),
    }),
  ),
  shorts: z.array(fault),
  judged: z
    .boolean()
    .default(false)
    .describe('Whether opens and shorts were looked for; without, empty lists mean nothing.'),
  image_check: z
    .array(
      z.object({
        layer: z.string(),
        kind: z.enum(['open', 'bridge', 'missing-via']),
        probes: z.int().nonnegative(),
        spread: z
          .number()
          .nullable()
          .describe('Of the probes, in units of metal; null where they were too few.'),
        judged: z.boolean(),
      }),
    )
    .default([])
    .describe('How well places of each layer could be looked at for `imaged`.'),
  doubts: z.array(z.string()).default([]),
});

export type Nets = z.output<typeof netsSchema>;
export type NetSummary = z.output<typeof netSummarySchema>;
export type NetFault = Nets['shorts'][number];
