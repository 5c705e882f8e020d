/** The connect stage: writes nets.json and the files beside it that a page looks nets up in. */
import { join } from 'node:path';
import type { z } from 'zod';
import type { Findings } from '../../../shared/artefacts/findings.ts';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import {
  type NetIndex,
  netIndexSchema,
  netNamesSchema,
  netShardSchema,
  netTileSchema,
} from '../../../shared/artefacts/net-lookup.ts';
import { type Nets, netsSchema } from '../../../shared/artefacts/nets.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { Box } from '../../../shared/polygon.ts';
import type { Layout } from '../../formats/layout.ts';
import { writeArtefact, writeAtomically } from '../../output/files.ts';
import type { Progress } from '../../output/progress.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { crossCheck } from './cross-check.ts';
import { shapesLeavingField } from './field.ts';
import { judgeNets } from './judge-nets.ts';
import { namesOf } from './net-names.ts';
import { netEnds, planShards, shardOf } from './net-shards.ts';
import { placeCells, tileOf } from './net-tiles.ts';
import { summariseNets } from './summarise-nets.ts';
import { planTiles, tileBox } from './tile-plan.ts';
import type { TracedWindow } from './trace-window.ts';
import type { Withheld } from './withheld.ts';

export interface NetScan {
  readonly id: string;
  readonly grid: PlateGrid;
  readonly layers: Layers;
  readonly placement: Pick<Placement, 'verdict'>;
  readonly portraits: readonly { readonly name: string; readonly values: Float32Array }[];
  /** null where the scan was not compared with the drawing. */
  readonly findings: Findings | null;
}

/** A click may miss metal by this much and still mean it. */
const MARGIN_PX = 3;

/**
 * @param folder where the scan's data go
 * @throws InputFault when the disk refuses
 */
export async function writeNets(
  traced: TracedWindow,
  scan: NetScan,
  layout: Layout,
  top: string,
  folder: string,
  progress: Progress,
  withheld: Withheld = {},
): Promise<Nets> {
  const { drawn } = traced;
  const { store } = drawn;
  const portraits = new Map(scan.portraits.map((p) => [p.name, p.values]));
  const leaving = shapesLeavingField(store, scan.grid, (name) => portraits.get(name));
  const faults = judgeNets(traced, scan.findings, scan.placement, (n) => leaving[n] === 1);
  const check =
    scan.placement.verdict === 'locked'
      ? crossCheck(traced, faults, scan.grid, (name) => portraits.get(name))
      : null;
  const seen = new Set(scan.layers.layers.filter((l) => l.seen !== 'outside').map((l) => l.name));
  const plan = planShards(drawn);
  const summaries = summariseNets(drawn, leaving, seen, plan.of).map((net, n) => ({
    ...net,
    imaged: check?.imaged(n) ?? ('unjudged' as const),
  }));
  const windowDbu = drawn.windowUm.map((v) => v / store.unitUm) as unknown as Box;
  const tiles = planTiles(windowDbu, store.count, (MARGIN_PX * scan.grid.pixel_um) / store.unitUm);
  const bar = progress.bar(`nets ${scan.id}`, tiles.columns * tiles.rows + plan.shards.length, 'files');

  const placed = placeCells(layout, top, drawn.windowUm, withheld);
  let present = '';
  for (let row = 0; row < tiles.rows; row++) {
    for (let column = 0; column < tiles.columns; column++) {
      const tile = tileOf(drawn, placed, tileBox(tiles, column, row), plan.of);
      present += tile ? '1' : '0';
      const path = TILES.replace('{column}', String(column)).replace('{row}', String(row));
      if (tile) await writeCompact(join(folder, path), netTileSchema, tile);
      bar.advance();
    }
  }
  const endsOf = netEnds(drawn);
  for (let shard = 0; shard < plan.shards.length; shard++) {
    const path = SHARDS.replace('{shard}', String(shard));
    await writeCompact(join(folder, path), netShardSchema, shardOf(drawn, plan, shard, summaries, endsOf));
    bar.advance();
  }
  const names = namesOf(drawn, placed, plan.of);
  const bytes = await writeCompact(join(folder, NAMES), netNamesSchema, names);
  const index: NetIndex = {
    version: 1,
    unit_um: store.unitUm,
    window_um: [...drawn.windowUm] as [number, number, number, number],
    layers: layerEntries(drawn, scan.layers),
    nets: drawn.nets.length,
    shapes: store.count,
    tiles: { ...tiles, origin: [...tiles.origin], present, path: TILES },
    shards: { count: plan.shards.length, path: SHARDS },
    names: { path: NAMES, bytes, nets: names.nets.length, cells: names.cells.length },
  };
  await writeArtefact(join(folder, 'nets/index.json'), netIndexSchema, index);
  const nets: Nets = {
    version: 1,
    nets: summaries.filter((_, n) => plan.of(n)[1] > 0),
    opens: faults.opens,
    shorts: faults.shorts,
    judged: faults.judged,
    image_check: check?.layers ?? [],
    doubts: [...drawn.doubts, ...faults.doubts, ...(check?.doubts ?? [])],
  };
  await writeCompact(join(folder, 'nets.json'), netsSchema, nets);
  bar.finish(`${drawn.nets.length} nets of ${store.count} shapes`);
  return nets;
}

const TILES = 'nets/tiles/{column}_{row}.json';
const SHARDS = 'nets/shapes/{shard}.json';
const NAMES = 'nets/names.json';

/** Files that a browser fetches carry no spaces. @returns their size */
async function writeCompact<S extends z.ZodType>(
  path: string,
  schema: S,
  value: z.input<S>,
): Promise<number> {
  const text = `${JSON.stringify(schema.parse(value))}\n`;
  await writeAtomically(path, text);
  return Buffer.byteLength(text);
}

/** Heights are those of the scan where it saw the layer. */
function layerEntries(drawn: DrawnNets, layers: Layers): NetIndex['layers'] {
  const { store } = drawn;
  return store.layers.map(({ name, role, bottomUm, topUm }, n) => {
    const span = layers.layers.find((layer) => layer.name === name && layer.seen !== 'outside');
    const measured = span !== undefined && layers.basis === 'measured';
    return {
      name,
      role,
      bottom_um: roundedUm(span?.bottom_um ?? bottomUm),
      top_um: roundedUm(span?.top_um ?? topUm),
      basis: measured ? 'measured' : 'nominal',
      shapes: store.layerStarts[n + 1]! - store.layerStarts[n]!,
    };
  });
}

const roundedUm = (um: number): number => Math.round(um * 1e6) / 1e6;
