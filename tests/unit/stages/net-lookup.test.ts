/** The files nets are looked up in: whatever they answer is what the drawing says. */
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { cellInstancesInWindow } from '../../../pipeline/formats/layout/flatten.ts';
import type { Layout } from '../../../pipeline/formats/layout.ts';
import { silentProgress } from '../../../pipeline/output/progress.ts';
import { connectDrawing, type DrawnNets } from '../../../pipeline/stages/connect/connect-drawing.ts';
import type { Withheld } from '../../../pipeline/stages/connect/withheld.ts';
import { writeNets } from '../../../pipeline/stages/connect/write-nets.ts';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import {
  type NetShard,
  type NetTile,
  netIndexSchema,
  netNamesSchema,
  netShardSchema,
  netTileSchema,
} from '../../../shared/artefacts/net-lookup.ts';
import { netsSchema } from '../../../shared/artefacts/nets.ts';
import { gridBoxUm, type PlateGrid } from '../../../shared/frames.ts';
import { cellsAt, netAt, outlineUm, shardFile, tileAt, tileFile } from '../../../shared/net-place.ts';
import { type DrawnCell, drawLayout, L, METALS } from '../../fixtures/nets/draw-layout.ts';
import { cellOf, randomDrawing } from '../../fixtures/nets/random-drawing.ts';
import { generator } from '../../fixtures/random.ts';
import { holds } from '../../oracles/net-flood.ts';

const folders: string[] = [];
afterAll(() => {
  for (const folder of folders) rmSync(folder, { recursive: true });
});

const NO_LAYERS: Layers = { version: 1, basis: 'nominal', layers: [], plates: [] };

interface Written {
  readonly folder: string;
  readonly layout: Layout;
  readonly drawn: DrawnNets;
  readonly index: ReturnType<typeof netIndexSchema.parse>;
  tile(xUm: number, yUm: number): NetTile | null;
  shard(n: number): NetShard;
}

async function written(
  cells: readonly DrawnCell[],
  grid: PlateGrid,
  withheld: Withheld = {},
  portraits: { name: string; values: Float32Array }[] = [],
): Promise<Written> {
  const folder = mkdtempSync(join(tmpdir(), 'stratafolio-lookup-'));
  folders.push(folder);
  const layout = await drawLayout(cells);
  const top = cells.at(-1)!.name;
  const drawn = connectDrawing(layout, top, METALS, gridBoxUm(grid), withheld);
  const scan = {
    id: 'fine',
    grid,
    layers: NO_LAYERS,
    placement: { verdict: 'locked' as const },
    portraits,
    findings: null,
  };
  await writeNets({ drawn, whole: null }, scan, layout, top, folder, silentProgress, withheld);
  const json = (name: string) => JSON.parse(readFileSync(join(folder, name), 'utf8'));
  const index = netIndexSchema.parse(json('nets/index.json'));
  const tiles = new Map<string, NetTile>();
  return {
    ...{ folder, layout, drawn, index },
    tile: (x, y) => {
      const at = tileAt(index, x, y);
      if (!at) return null;
      const file = tileFile(index, at.column, at.row);
      if (!tiles.has(file)) tiles.set(file, netTileSchema.parse(json(file)));
      return tiles.get(file)!;
    },
    shard: (n) => netShardSchema.parse(json(shardFile(index, n))),
  };
}

const grid = (sideUm: number, pixelUm: number): PlateGrid => ({
  origin_um: [pixelUm / 2, sideUm - pixelUm / 2],
  pixel_um: pixelUm,
  width_px: Math.round(sideUm / pixelUm),
  height_px: Math.round(sideUm / pixelUm),
});

describe('a point', () => {
  it('gives the net that lies there, on every layer, also in tiles cut small', async () => {
    const unit = 250;
    const shapes = randomDrawing(11, 200, 3000);
    const scan = await written([cellOf(shapes, unit)], grid(50, 0.05));
    expect(scan.index.tiles.columns).toBeGreaterThan(2);
    const { store, netOf, nets } = scan.drawn;
    const random = generator(2);
    let hits = 0;
    for (let n = 0; n < 400; n++) {
      const [x, y] = [50 * random(), 50 * random()];
      const tile = scan.tile(x, y);
      for (let layer = 0; layer < store.layers.length; layer++) {
        const expected = new Set<string>();
        for (let s = store.layerStarts[layer]!; s < store.layerStarts[layer + 1]!; s++) {
          const [x0, y0, x1, y1] = store.boxes.subarray(4 * s, 4 * s + 4) as unknown as [
            number,
            number,
            number,
            number,
          ];
          const ring = store.ringXy.subarray(store.ringStarts[s], store.ringStarts[s + 1]);
          const outline = ring.length > 0 ? [...ring] : [x0, y0, x1, y0, x1, y1, x0, y1];
          if (holds(outline, x * 1000, y * 1000)) expected.add(nets[netOf[s]!]!.id);
        }
        const found = tile && netAt(scan.index, tile, layer, x, y);
        expect(found ? [found.id] : []).toEqual([...expected]);
        hits += expected.size;
      }
    }
    expect(hits).toBeGreaterThan(300);
  });

  it('beside a wire gives it within the tolerance, across the edge of a tile too', async () => {
    const boxes = Array.from({ length: 900 }, (_, n) => [L.metal2, 0, 100 * n, 50, 100 * n + 50] as const);
    const scan = await written(
      [{ name: 'TOP', boxes: [[L.metal1, 10_000, 0, 10_200, 90_000], ...boxes] }],
      grid(90, 0.1),
    );
    const layer = scan.index.layers.findIndex(({ name }) => name === 'metal1');
    for (let y = 0.05; y < 90; y += 0.731) {
      for (const x of [9.95, 10, 10.1, 10.2, 10.25]) {
        const tile = scan.tile(x, y)!;
        expect(netAt(scan.index, tile, layer, x, y, 0.06)?.id, `${x}, ${y}`).toBe('n1');
      }
      expect(netAt(scan.index, scan.tile(9.9, y)!, layer, 9.9, y, 0.06)).toBeNull();
    }
    expect(tileAt(scan.index, -1, 5)).toBeNull();
    expect(tileAt(scan.index, 5, 300)).toBeNull();
  });

  it('gives the cells there, deepest first', async () => {
    const leaf = { name: 'LEAF', boxes: [[L.metal1, 0, 0, 1000, 1000]] as const };
    const row = {
      name: 'ROW',
      boxes: [[L.metal2, 0, 0, 9000, 100]] as const,
      references: [
        ['LEAF', 0, 0],
        ['LEAF', 4000, 0],
      ] as const,
    };
    const top = {
      name: 'TOP',
      references: [
        ['ROW', 1000, 1000],
        ['ROW', 1000, 5000, 90],
        ['LEAF', 15_000, 15_000],
      ] as const,
    };
    const scan = await written([leaf, row, top], grid(20, 0.1));
    const at = (x: number, y: number) =>
      cellsAt(scan.index, scan.tile(x, y)!, x, y).map(({ path }) => path.join('/'));
    expect(at(5.5, 1.5)).toEqual(['TOP/ROW/LEAF', 'TOP/ROW', 'TOP']);
    expect(at(3, 1.5)).toEqual(['TOP/ROW', 'TOP']);
    expect(at(0.5, 9.5)).toEqual(['TOP/ROW/LEAF', 'TOP/ROW', 'TOP']);
    expect(at(15.5, 15.5)).toEqual(['TOP/LEAF', 'TOP']);
    const instances = [...cellInstancesInWindow(scan.layout, 'TOP', gridBoxUm(grid(20, 0.1)))];
    expect(instances).toHaveLength(8);
  });
});

describe('a net', () => {
  it('has each of its shapes once in its shards, with what nets.json says of it', async () => {
    const shapes = randomDrawing(12, 200, 6000);
    const scan = await written([cellOf(shapes, 250)], grid(50, 0.05));
    const nets = netsSchema.parse(JSON.parse(readFileSync(join(scan.folder, 'nets.json'), 'utf8')));
    expect(nets.nets).toHaveLength(scan.drawn.nets.length);
    expect(scan.index.shards.count).toBeGreaterThan(2);
    expect(nets.nets.some((net) => net.shards[1] > 1)).toBe(true);
    const shards = Array.from({ length: scan.index.shards.count }, (_, n) => scan.shard(n));
    for (const summary of nets.nets) {
      const [first, count] = summary.shards;
      const entries = shards
        .slice(first, first + count)
        .flatMap((shard) => shard.nets.filter((net) => net.id === summary.id));
      expect(entries.map(({ part, parts }) => [part, parts])).toEqual(entries.map((_, n) => [n, count]));
      const listed = entries.flatMap((entry) =>
        entry.layers.flatMap((l) => l.shapes.map((s) => `${l.layer} ${s}`)),
      );
      const own = [...scan.drawn.nets[Number(summary.id.slice(1)) - 1]!.shapes].map((n) =>
        spelled(scan.drawn, n),
      );
      expect(listed).toEqual(own);
      expect(entries[0]).toMatchObject({
        name: summary.name,
        vias: summary.vias,
        leaves_field: summary.leaves_field,
      });
    }
  });

  it('keeps its files small enough to fetch on a click', async () => {
    const scan = await written([cellOf(randomDrawing(13, 200, 6000), 250)], grid(50, 0.05));
    for (const part of ['tiles', 'shapes']) {
      const folder = join(scan.folder, 'nets', part);
      for (const name of readdirSync(folder))
        expect(statSync(join(folder, name)).size, name).toBeLessThan(150_000);
    }
  });

  it('tells its length, its vias, its ends and whether it leaves the field', async () => {
    const bar: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 900, 900, 5100, 1100],
        [L.via1, 4900, 900, 5100, 1100],
        [L.metal2, 4900, 900, 5100, 7100],
        [L.metal1, 8000, 2000, 12_000, 2200],
      ],
      labels: [['gauge', L.metal1, 1000, 1000]],
    };
    const scan = await written([bar], grid(10, 0.1));
    const [gauge, other] = netsSchema.parse(
      JSON.parse(readFileSync(join(scan.folder, 'nets.json'), 'utf8')),
    ).nets;
    expect(gauge).toMatchObject({
      name: 'gauge',
      layers: ['metal1', 'via1', 'metal2'],
      length_um: 10,
      vias: 1,
      leaves_field: false,
    });
    // 2 µm of it lie in the window, less one width.
    expect(other).toMatchObject({
      leaves_field: true,
      length_um: 1.8,
      box_um: [8, 2, 12, 2.2],
      name_from: 'place',
    });
    const [first, second] = scan.shard(0).nets;
    expect(first!.ends).toEqual([
      { layer: 2, at: [1000, 1000], kind: 'label', text: 'gauge' },
      { layer: 2, at: [3000, 1000], kind: 'end' },
      { layer: 4, at: [5000, 4000], kind: 'end' },
    ]);
    expect(second!.ends).toEqual([{ layer: 2, at: [10_000, 2100], kind: 'field' }]);
  });

  it('leaves the field where a pixel of its layer holds no data', async () => {
    const g = grid(10, 0.1);
    const values = new Float32Array(100 * 100).fill(1);
    // The pixel right below the corner of the L, outside its metal but inside its box, and one on the bar.
    const pixel = (x: number, y: number) => Math.floor((10 - y) / 0.1) * 100 + Math.floor(x / 0.1);
    values[pixel(3.05, 3.05)] = Number.NaN;
    values[pixel(7.05, 8.05)] = Number.NaN;
    const cell: DrawnCell = {
      name: 'TOP',
      rings: [[L.metal1, 1000, 1000, 4000, 1000, 4000, 1200, 1200, 1200, 1200, 4000, 1000, 4000]],
      boxes: [
        [L.metal1, 6000, 8000, 9000, 8200],
        [L.metal2, 6000, 8000, 9000, 8200],
      ],
    };
    const scan = await written([cell], g, {}, [{ name: 'metal1', values }]);
    const nets = netsSchema.parse(JSON.parse(readFileSync(join(scan.folder, 'nets.json'), 'utf8'))).nets;
    expect(nets.map((net) => [net.layers[0], net.leaves_field])).toEqual([
      ['metal1', false],
      ['metal1', true],
      ['metal2', false],
    ]);
  });
});

describe('names', () => {
  it('lead to a point on the net and to instances of cells', async () => {
    const leaf = { name: 'LEAF', boxes: [[L.metal1, 0, 0, 1000, 1000]] as const };
    const top: DrawnCell = {
      name: 'TOP',
      rings: [[L.metal2, 0, 0, 9000, 0, 9000, 200, 200, 200, 200, 9000, 0, 9000]],
      labels: [
        ['elbow', L.metal2, 100, 8000],
        ['bend', L.metal2, 100, 8500],
      ],
      references: [
        ['LEAF', 6000, 6000],
        ['LEAF', 3000, 3000],
      ],
    };
    const scan = await written([leaf, top], grid(10, 0.1));
    const names = netNamesSchema.parse(
      JSON.parse(readFileSync(join(scan.folder, 'nets/names.json'), 'utf8')),
    );
    expect(names.nets.map(({ name, id, at }) => [name, id, at])).toEqual([
      ['bend', 'n3', [100, 8000]],
      ['elbow', 'n3', [100, 8000]],
    ]);
    expect(names.cells).toEqual([
      {
        name: 'LEAF',
        instances: 2,
        boxes: [
          [3000, 3000, 4000, 4000],
          [6000, 6000, 7000, 7000],
        ],
      },
      { name: 'TOP', instances: 1, boxes: [[0, 0, 9000, 9000]] },
    ]);
    expect(scan.index.names).toMatchObject({ nets: 2, cells: 2 });
  });
});

describe('what is withheld', () => {
  it('is in no file: cells only as outlines, no shape that meets a region', async () => {
    const secret = {
      name: 'SECRET_PUMP',
      boxes: [[L.metal1, 0, 0, 1000, 1000]] as const,
      references: [['INNER', 0, 0]] as const,
    };
    const inner = { name: 'INNER', boxes: [[L.metal2, 0, 0, 500, 500]] as const };
    const top: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal3, 0, 0, 9000, 300],
        [L.metal3, 8000, 5000, 8300, 9000],
      ],
      references: [['SECRET_PUMP', 3000, 3000]],
    };
    const scan = await written([inner, secret, top], grid(10, 0.1), {
      opens: (cell) => !cell.startsWith('SECRET'),
      regionsUm: [[8, 8, 9, 9]],
    });
    const all = readdirSync(join(scan.folder, 'nets'), { recursive: true, encoding: 'utf8' })
      .filter((name) => name.endsWith('.json'))
      .map((name) => readFileSync(join(scan.folder, 'nets', name), 'utf8'))
      .join();
    expect(all).toContain('SECRET_PUMP');
    expect(all).not.toContain('INNER');
    expect(all).toContain('[0,0,9000,300]');
    expect(all).not.toMatch(/\b8000,5000\b/);
  });
});

describe('a window beside the drawing', () => {
  it('has files that hold nothing', async () => {
    const far: DrawnCell = { name: 'TOP', boxes: [[L.metal1, 500_000, 500_000, 501_000, 501_000]] };
    const scan = await written([far], grid(10, 0.1));
    expect(scan.index).toMatchObject({
      nets: 0,
      shapes: 0,
      shards: { count: 0 },
      names: { nets: 0, cells: 0 },
    });
    expect(scan.tile(5, 5)).toBeNull();
  });
});

describe('outlines', () => {
  it('are in die micrometres for both forms of a shape', () => {
    expect(outlineUm([0, 0, 1000, 500], 0.001)).toEqual([0, 0, 1, 0, 1, 0.5, 0, 0.5]);
    expect(outlineUm([0, 0, 1000, 0, 0, 1000], 0.001)).toEqual([0, 0, 1, 0, 0, 1]);
  });
});

function spelled({ store }: DrawnNets, n: number): string {
  const layer = store.layers.findLastIndex((_, l) => store.layerStarts[l]! <= n);
  const ring = store.ringXy.subarray(store.ringStarts[n], store.ringStarts[n + 1]);
  return `${layer} ${ring.length > 0 ? [...ring] : [...store.boxes.subarray(4 * n, 4 * n + 4)]}`;
}
