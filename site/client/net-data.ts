/** Nets and cells of a scan, fetched piece by piece; see shared/artefacts/net-lookup.ts for the files. */
import type { NetIndex, NetNames, NetShard, NetTile } from '../../shared/artefacts/net-lookup.ts';
import { cellsAt, netAt, shardFile, tileAt, tileFile } from '../../shared/net-place.ts';
import type { NetPlace } from '../lib/permalink.ts';

export type ShardNet = NetShard['nets'][number];

/** One net, whole. */
export interface LitNet extends Omit<ShardNet, 'part' | 'parts'> {
  /** A place on it, for the address. */
  readonly place: NetPlace;
}

export type CellAt = ReturnType<typeof cellsAt>[number];

const HELD_TILES = 64;
const HELD_SHARDS = 24;

export class NetData {
  readonly index: NetIndex;
  readonly #root: string;
  readonly #tiles = new Map<string, Promise<NetTile>>();
  readonly #shards = new Map<string, Promise<NetShard>>();
  #names: Promise<NetNames> | null = null;

  static async open(root: string): Promise<NetData> {
    const answer = await fetch(`${root}nets/index.json`);
    if (!answer.ok) throw new Error(`nets/index.json: ${answer.status}`);
    return new NetData(root, (await answer.json()) as NetIndex);
  }

  private constructor(root: string, index: NetIndex) {
    this.#root = root;
    this.index = index;
  }

  levelOf(layer: string): number {
    return this.index.layers.findIndex((one) => one.name === layer);
  }

  #fetch<T>(held: Map<string, Promise<T>>, most: number, path: string): Promise<T> {
    let value = held.get(path);
    if (value) held.delete(path);
    else {
      value = fetch(this.#root + path).then((answer) => {
        if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
        return answer.json() as Promise<T>;
      });
      value.catch(() => held.delete(path));
    }
    held.set(path, value);
    for (const oldest of held.keys()) {
      if (held.size <= most) break;
      held.delete(oldest);
    }
    return value;
  }

  async #tile(xUm: number, yUm: number): Promise<NetTile | null> {
    const at = tileAt(this.index, xUm, yUm);
    return at ? this.tile(at.column, at.row) : null;
  }

  /** A tile that the index says is there. */
  tile(column: number, row: number): Promise<NetTile> {
    return this.#fetch(this.#tiles, HELD_TILES, tileFile(this.index, column, row));
  }

  /**
   * The net at a point on the first of several layers that has one there.
   * @param layers names, the wanted one first
   */
  async find(
    layers: readonly string[],
    xUm: number,
    yUm: number,
    toleranceUm: number,
  ): Promise<{ net: NetTile['nets'][number]; layer: string } | null> {
    const tile = await this.#tile(xUm, yUm);
    if (!tile) return null;
    const reach = Math.min(toleranceUm, this.index.tiles.margin * this.index.unit_um);
    for (const layer of layers) {
      const level = this.levelOf(layer);
      const net = level < 0 ? null : netAt(this.index, tile, level, xUm, yUm, reach);
      if (net) return { net, layer };
    }
    return null;
  }

  /** Instances under a point, the deepest first. */
  async cells(xUm: number, yUm: number): Promise<readonly CellAt[]> {
    const tile = await this.#tile(xUm, yUm);
    return tile ? cellsAt(this.index, tile, xUm, yUm) : [];
  }

  /** All shapes of a net, its parts put together. */
  async whole(net: Pick<NetTile['nets'][number], 'id' | 'shards'>, place: NetPlace): Promise<LitNet | null> {
    const [first, count] = net.shards;
    const numbers = Array.from({ length: Math.max(1, count) }, (_, n) => first + n);
    const shards = await Promise.all(
      numbers.map((n) => this.#fetch(this.#shards, HELD_SHARDS, shardFile(this.index, n))),
    );
    const parts = shards.flatMap((shard) => shard.nets.filter((one) => one.id === net.id));
    const head = parts[0];
    if (!head) return null;
    const layers = new Map<number, ShardNet['layers'][number]['shapes']>();
    for (const part of parts) {
      for (const { layer, shapes } of part.layers) {
        layers.set(layer, [...(layers.get(layer) ?? []), ...shapes]);
      }
    }
    return {
      ...head,
      place,
      layers: [...layers].sort((a, b) => a[0] - b[0]).map(([layer, shapes]) => ({ layer, shapes })),
    };
  }

  names(): Promise<NetNames> {
    this.#names ??= fetch(this.#root + this.index.names.path).then((answer) => {
      if (!answer.ok) throw new Error(`${this.index.names.path}: ${answer.status}`);
      return answer.json() as Promise<NetNames>;
    });
    this.#names.catch(() => {
      this.#names = null;
    });
    return this.#names;
  }
}
