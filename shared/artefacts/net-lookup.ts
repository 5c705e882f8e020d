/**
 * Files beside nets.json that a page fetches on demand, so that metal under a pointer names its net and the whole net
 * lights up without loading a large layout. All lie in `<folio>/data/<scan>/nets/`, are JSON, and never change.
 *
 * | file | holds | fetched |
 * | --- | --- | --- |
 * | `index.json` | layers with heights, the tiling, how many nets | once, with the viewer; 2 to 12 kB |
 * | `tiles/<column>_<row>.json` | what lies in one square of the die: shapes with net ids, cell instances | on a click or a rest of the pointer; some 10 to 40 kB |
 * | `shapes/<shard>.json` | the shapes of some nets, whole, and what is known of those nets | on a click; some 10 to 100 kB |
 * | `names.json` | names of nets and cells with their places | when somebody looks for a name |
 *
 * **From a click to a lit net.** `tileAt` (`shared/net-place.ts`) gives column and row of the tile under a die point;
 * `netAt(tile, layer, x, y)` the entry of `tile.nets` there, which says in which shards the shapes of that net lie
 * (mostly one). The shard's entry with the same id holds everything to draw and to say. Tiles may be fetched ahead for
 * the part in view, then a click costs one fetch.
 *
 * **Coordinates.** Whole numbers n, the place is `n * unit_um` in die micrometres (X right, Y up). A shape is a flat
 * list: four numbers are a rectangle `x0, y0, x1, y1` (x0 < x1, y0 < y1), six or more the vertices
 * `x0, y0, x1, y1, ...` of a polygon that closes implicitly and may be wound either way. Fill it by the nonzero rule.
 * Shapes of one net overlap freely: draw each by itself or all in one path with the nonzero rule after turning them
 * counter-clockwise; an outline round every shape shows seams where they meet.
 *
 * **Layers** are numbers into `index.layers`, which stand from the silicon up. A layer's heights are those of this scan
 * (layers.json) where it saw the layer, else nominal. Stepping along a net depth by depth is stepping through
 * `net.layers` of its shard entry.
 *
 * **Tiles** hold shapes cut to the tile's square grown by `margin_um`, so that a click near the edge of a wire or of a
 * tile finds it; never draw from tiles, the cuts would show. Two nets never lie on top of each other on one layer, so
 * the answer on a layer is one net or none. A tile without content has no file: `index.tiles.present` says which exist,
 * one character per tile, row by row from the south, west to east: "1" or "0".
 *
 * **Cells** of a tile are in the order of the hierarchy: `parent` is the place in the same list of the instance that
 * holds this one, -1 for the top cell. The deepest instance whose box holds the point is the one under the pointer
 * (`cellsAt`); its path is found by following `parent`. Boxes are those of the geometry; instances may overlap.
 *
 * **Nets** that were left out: only shapes of the process table's `drawn` layers make nets. Fill layers make none.
 */
import { z } from 'zod';
import { roleSchema } from './process.ts';

const whole = z.int();
const shape = z.array(whole).refine((xy) => xy.length === 4 || (xy.length >= 6 && xy.length % 2 === 0), {
  error: 'four numbers of a rectangle, or two for each of three or more vertices',
});

export const netIndexSchema = z.object({
  version: z.literal(1),
  unit_um: z.number().positive().describe('Micrometres per whole number in tiles, shards and names.'),
  window_um: z.tuple([z.number(), z.number(), z.number(), z.number()]).describe('Where nets were traced.'),
  layers: z.array(
    z.object({
      name: z.string(),
      role: roleSchema,
      bottom_um: z.number(),
      top_um: z.number(),
      basis: z.enum(['measured', 'nominal']),
      shapes: z.int().nonnegative(),
    }),
  ),
  nets: z.int().nonnegative(),
  shapes: z.int().nonnegative(),
  tiles: z.object({
    origin: z.tuple([whole, whole]).describe('South-west corner of tile 0_0.'),
    side: z.int().positive().describe('Side of the square tiles.'),
    margin: z.int().nonnegative().describe('How far beyond its square a tile holds shapes.'),
    columns: z.int().positive(),
    rows: z.int().positive(),
    present: z.string().regex(/^[01]*$/),
    path: z.string().describe('Below the scan folder; {column} and {row} stand for the numbers.'),
  }),
  shards: z.object({
    count: z.int().nonnegative(),
    path: z.string().describe('Below the scan folder; {shard} stands for the number.'),
  }),
  names: z.object({
    path: z.string(),
    bytes: z.int().nonnegative(),
    nets: z.int().nonnegative(),
    cells: z.int().nonnegative(),
  }),
});

const shards = z.tuple([z.int().nonnegative(), z.int().nonnegative()]);

export const netTileSchema = z.object({
  version: z.literal(1),
  nets: z.array(
    z.object({
      id: z.string(),
      name: z.string(),
      shards: shards.describe('First shard with its shapes, and how many.'),
    }),
  ),
  layers: z.array(
    z
      .object({
        layer: z.int().nonnegative().describe('Number into index.layers.'),
        nets: z.array(z.int().nonnegative()).describe('For each shape, the place of its net in `nets`.'),
        shapes: z.array(shape),
      })
      .refine((l) => l.nets.length === l.shapes.length, { error: 'one net for each shape' }),
  ),
  cells: z.array(
    z.object({
      cell: z.string(),
      parent: z.int().min(-1).describe('Place in this list of the instance around; -1 for the top cell.'),
      box: z.tuple([whole, whole, whole, whole]),
    }),
  ),
});

/** Where a net ends. */
export const netEndSchema = z.object({
  layer: z.int().nonnegative(),
  at: z.tuple([whole, whole]),
  kind: z
    .enum(['end', 'field', 'label'])
    .describe(
      'end: a shape with one neighbour only; field: it leaves the window there; label: a label names it there.',
    ),
  text: z.string().optional().describe('Of a label.'),
});

export const netShardSchema = z.object({
  version: z.literal(1),
  nets: z.array(
    z.object({
      id: z.string(),
      name: z.string(),
      names: z.array(z.string()),
      /** A net too large for one shard is cut into parts; everything but shapes is the same in each. */
      part: z.int().nonnegative(),
      parts: z.int().positive(),
      box: z.tuple([whole, whole, whole, whole]),
      length_um: z.number().nonnegative(),
      vias: z.int().nonnegative(),
      leaves_field: z.boolean(),
      ends: z.array(netEndSchema).describe('At most 200, spread over the net; `ends_total` counts all.'),
      ends_total: z.int().nonnegative(),
      layers: z
        .array(z.object({ layer: z.int().nonnegative(), shapes: z.array(shape) }))
        .describe('From the silicon up.'),
    }),
  ),
});

export const netNamesSchema = z.object({
  version: z.literal(1),
  nets: z.array(
    z.object({
      name: z
        .string()
        .describe('Every label of a net has an entry of its own; nets without a label have none.'),
      id: z.string(),
      shards,
      layer: z.int().nonnegative(),
      at: z.tuple([whole, whole]).describe('A point on the net, on `layer`, inside the window, on metal.'),
    }),
  ),
  cells: z.array(
    z.object({
      name: z.string(),
      instances: z.int().positive().describe('How many instances the window meets.'),
      boxes: z
        .array(z.tuple([whole, whole, whole, whole]))
        .describe('Of the first instances, at most 100, from the south-west.'),
    }),
  ),
});

export type NetIndex = z.output<typeof netIndexSchema>;
export type NetTile = z.output<typeof netTileSchema>;
export type NetShard = z.output<typeof netShardSchema>;
export type NetNames = z.output<typeof netNamesSchema>;
export type NetEnd = z.output<typeof netEndSchema>;
