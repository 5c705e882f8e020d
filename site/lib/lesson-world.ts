/** What lessons may point at in a finished folio: scans with their fields, layers, nets and findings. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import {
  type NetIndex,
  type NetNames,
  netIndexSchema,
  netNamesSchema,
  netShardSchema,
} from '../../shared/artefacts/net-lookup.ts';
import { readJson } from '../../shared/artefacts/read.ts';
import { gridBoxUm } from '../../shared/frames.ts';
import type { LessonScan } from '../../shared/lesson/check.ts';
import { shardFile } from '../../shared/net-place.ts';
import type { ScanArtefacts } from './artefacts.ts';

export interface NetTarget {
  readonly layer: string;
  readonly xUm: number;
  readonly yUm: number;
}

export interface WorldScan {
  readonly artefacts: ScanArtefacts;
  /** What the check needs; names of nets are read only where they are asked for. */
  readonly known: (withNets: boolean) => Promise<LessonScan>;
  /** A point on a net, for the address of the viewer. */
  readonly netPlace: (name: string) => Promise<NetTarget | null>;
  /** Shapes of a net, of one layer or of all: flat lists in die micrometres. */
  readonly netShapes: (name: string, layer: string | null) => Promise<number[][]>;
}

export interface LessonWorld {
  readonly scans: readonly WorldScan[];
}

/** The scan that steps show where neither they nor the lesson name one. */
export const defaultScan = (world: LessonWorld): string | null => {
  const volumes = world.scans.map(({ artefacts }) => artefacts.scan).filter((scan) => scan.kind === 'volume');
  return (volumes.find((scan) => scan.frame === 'die') ?? volumes[0])?.id ?? null;
};

/** @param data folder of the folio's data */
export const lessonWorld = (data: string, scans: readonly ScanArtefacts[]): LessonWorld => ({
  scans: scans.map((artefacts) => worldScan(join(data, artefacts.scan.id), artefacts)),
});

function worldScan(folder: string, artefacts: ScanArtefacts): WorldScan {
  const { scan, plates, layers, nets, findings } = artefacts;
  const inDie = scan.frame === 'die';
  const hasNets = (nets?.nets.length ?? 0) > 0;
  const file = async (path: string): Promise<string> => readFile(join(folder, path), 'utf8');
  let index: Promise<NetIndex> | null = null;
  let names: Promise<NetNames> | null = null;
  const theIndex = (): Promise<NetIndex> => {
    index ??= file('nets/index.json').then((text) =>
      readJson(text, `${scan.id}/nets/index.json`, netIndexSchema),
    );
    return index;
  };
  const theNames = (): Promise<NetNames> => {
    names ??= theIndex().then(async ({ names: { path } }) =>
      readJson(await file(path), `${scan.id}/${path}`, netNamesSchema),
    );
    return names;
  };
  const entry = async (name: string) => (await theNames()).nets.find((net) => net.name === name) ?? null;
  return {
    artefacts,
    known: async (withNets) => ({
      id: scan.id,
      boxUm: inDie ? gridBoxUm(plates.grid) : null,
      fieldUm: inDie ? scan.footprint_um.flat() : null,
      zUm: plates.z_um.length > 1 ? [Math.min(...plates.z_um), Math.max(...plates.z_um)] : null,
      layers: layers.layers.map(({ name, bottom_um, top_um }) => ({
        name,
        bottomUm: bottom_um,
        topUm: top_um,
      })),
      nets: withNets && hasNets ? new Set((await theNames()).nets.map((net) => net.name)) : null,
      findings: findings ? new Set(findings.findings.map((finding) => finding.id)) : null,
    }),
    netPlace: async (name) => {
      if (!hasNets) return null;
      const [found, { unit_um, layers: levels }] = [await entry(name), await theIndex()];
      return (
        found && {
          layer: levels[found.layer]!.name,
          xUm: found.at[0] * unit_um,
          yUm: found.at[1] * unit_um,
        }
      );
    },
    netShapes: async (name, layer) => {
      if (!hasNets) return [];
      const [found, known] = [await entry(name), await theIndex()];
      if (!found) return [];
      const shapes: number[][] = [];
      for (let n = found.shards[0]; n < found.shards[0] + Math.max(1, found.shards[1]); n++) {
        const path = shardFile(known, n);
        const shard = readJson(await file(path), `${scan.id}/${path}`, netShardSchema);
        for (const net of shard.nets.filter((one) => one.id === found.id)) {
          for (const part of net.layers) {
            if (layer !== null && known.layers[part.layer]!.name !== layer) continue;
            shapes.push(...part.shapes.map((shape) => shape.map((v) => v * known.unit_um)));
          }
        }
      }
      return shapes;
    },
  };
}
