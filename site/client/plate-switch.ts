/**
 * Exchanges what a view shows without a blank moment: the old plate stays until the new one can be drawn, and an
 * answer to an older request never takes the place of a newer one.
 */
import type OpenSeadragon from 'openseadragon';
import type { PyramidSource } from './pyramid-source.ts';

export interface Wanted {
  readonly key: string;
  readonly opacity: number;
  readonly source: () => PyramidSource;
}

interface Request {
  readonly serial: number;
  readonly wanted: readonly Wanted[];
  readonly since: number;
}

interface Entry {
  readonly key: string;
  item: OpenSeadragon.TiledImage | null;
  dropped: boolean;
  failed: boolean;
}

/** Requests that may still be under way while a reader scrubs; older ones are given up. */
const UNDER_WAY = 4;
/** How long a plate may wait for its sharp tiles before its coarse one is shown. */
const GRACE_MS = 140;
/** A view that has not moved for this long is at rest. */
const REST_MS = 200;

export class PlateSwitch {
  readonly #engine: OpenSeadragon.Viewer;
  readonly #entries = new Map<string, Entry>();
  #requests: Request[] = [];
  #ahead: readonly Wanted[] = [];
  #serial = 0;
  #shown: Request | null = null;
  #polling = false;
  /** Timer while the view moves, else 0. */
  #rest = 0;
  readonly #onShown: (keys: readonly string[]) => void;
  readonly #onFail: (key: string) => void;

  constructor(
    engine: OpenSeadragon.Viewer,
    onShown: (keys: readonly string[]) => void,
    onFail: (key: string) => void = () => {},
  ) {
    this.#engine = engine;
    this.#onShown = onShown;
    this.#onFail = onFail;
    engine.addHandler('tile-load-failed', (event) => {
      const source = event.tiledImage.source;
      for (const entry of this.#entries.values()) {
        if (entry.item === event.tiledImage && event.tile.level === source.minLevel && !entry.dropped) {
          entry.failed = true;
          this.#onFail(entry.key);
        }
      }
    });
    // While the view moves, only what is seen loads; neighbours come again when it rests.
    engine.addHandler('viewport-change', () => {
      clearTimeout(this.#rest);
      if (this.#rest === 0) this.#trim(false);
      this.#rest = window.setTimeout(() => {
        this.#rest = 0;
        this.#fetchAhead();
      }, REST_MS);
    });
  }

  /** @param ahead fetched once the wanted ones are there */
  show(wanted: readonly Wanted[], ahead: readonly Wanted[] = []): void {
    const request = { serial: ++this.#serial, wanted, since: performance.now() };
    this.#requests.push(request);
    if (this.#requests.length > UNDER_WAY) this.#requests = this.#requests.slice(-UNDER_WAY);
    this.#ahead = ahead;
    for (const one of wanted) this.#ensure(one);
    this.#trim(true);
    this.#settle();
    this.#poll();
  }

  /** Number of pictures the engine holds now. */
  get held(): number {
    return this.#entries.size;
  }

  #ensure(wanted: Wanted): void {
    if (this.#entries.has(wanted.key)) return;
    const entry: Entry = { key: wanted.key, item: null, dropped: false, failed: false };
    this.#entries.set(wanted.key, entry);
    this.#engine.addTiledImage({
      tileSource: wanted.source(),
      opacity: 0,
      preload: true,
      success: (event: Event) => {
        entry.item = (event as unknown as { item: OpenSeadragon.TiledImage }).item;
        if (entry.dropped) this.#remove(entry);
      },
    });
  }

  #remove(entry: Entry): void {
    entry.dropped = true;
    if (this.#entries.get(entry.key) === entry) this.#entries.delete(entry.key);
    if (!entry.item) return;
    // Decoded tiles stay in the engine's bounded cache, so that going back needs no second decoding.
    entry.item.allowZombieCache(true);
    this.#engine.world.removeItem(entry.item);
  }

  /** Drops all that is neither seen nor asked for. */
  #trim(keepAhead: boolean): void {
    const keep = new Set<string>();
    for (const request of this.#requests) for (const one of request.wanted) keep.add(one.key);
    for (const one of this.#shown?.wanted ?? []) keep.add(one.key);
    if (keepAhead) for (const one of this.#ahead) keep.add(one.key);
    for (const entry of [...this.#entries.values()]) if (!keep.has(entry.key)) this.#remove(entry);
  }

  #ready(one: Wanted, waited: number): boolean {
    const entry = this.#entries.get(one.key);
    const item = entry?.item;
    if (!entry || !item || entry.failed) return false;
    // Outside the view there is nothing to wait for.
    if (!item.getDrawArea()) return true;
    if (item.getFullyLoaded()) return true;
    if (waited < GRACE_MS) return false;
    return item.getTilesToDraw().some((info) => info.tile.level === item.source.minLevel);
  }

  /** Shows the newest request that can be drawn, if it is newer than what is seen. */
  #settle(): void {
    const now = performance.now();
    const seen = this.#shown?.serial ?? 0;
    const request = this.#requests.findLast(
      (one) => one.serial > seen && one.wanted.every((wanted) => this.#ready(wanted, now - one.since)),
    );
    if (!request) return;
    const { world } = this.#engine;
    for (const entry of this.#entries.values()) {
      const wanted = request.wanted.find((one) => one.key === entry.key);
      if (entry.item && !wanted) entry.item.setOpacity(0);
    }
    for (const wanted of request.wanted) {
      const item = this.#entries.get(wanted.key)!.item!;
      item.setOpacity(wanted.opacity);
      world.setItemIndex(item, world.getItemCount() - 1);
    }
    this.#shown = request;
    this.#requests = this.#requests.filter((one) => one.serial > request.serial);
    this.#trim(true);
    this.#onShown(request.wanted.map((one) => one.key));
    if (this.#requests.length === 0) this.#fetchAhead();
  }

  #fetchAhead(): void {
    if (this.#requests.length > 0 || this.#rest !== 0) return;
    for (const one of this.#ahead) this.#ensure(one);
  }

  #poll(): void {
    if (this.#polling || this.#requests.length === 0) return;
    this.#polling = true;
    requestAnimationFrame(() => {
      this.#polling = false;
      this.#settle();
      this.#poll();
    });
  }
}
