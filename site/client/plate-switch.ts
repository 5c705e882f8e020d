/**
 * Exchanges what a view shows without a blank moment. Where a coarse picture of the new plate is at hand, it stands at
 * once and tiles sharpen it; else the old plate stays until the new one can be drawn. An answer to an older request
 * never takes the place of a newer one.
 */
import type OpenSeadragon from 'openseadragon';
import type { PyramidSource } from './pyramid-source.ts';
import type { CoarsePicture, Underlay } from './underlay.ts';

export interface Wanted {
  readonly key: string;
  readonly opacity: number;
  readonly source: () => PyramidSource;
}

export interface SwitchOptions {
  /** Called when something else is seen, coarse or sharp. */
  readonly onShown: (keys: readonly string[]) => void;
  /** Called when all tiles of what is seen are there. */
  readonly onSharp?: (keys: readonly string[]) => void;
  readonly onFail?: (key: string) => void;
  readonly underlay?: Underlay;
}

interface Request {
  readonly serial: number;
  readonly wanted: readonly Wanted[];
  readonly coarse: () => CoarsePicture | null;
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
/** A plate that is passed sooner than this is not worth its tiles, nor those of its neighbours, where a coarse one stands. */
const PASSING_MS = 120;

export class PlateSwitch {
  readonly #engine: OpenSeadragon.Viewer;
  readonly #entries = new Map<string, Entry>();
  readonly #options: SwitchOptions;
  #requests: Request[] = [];
  #ahead: readonly Wanted[] = [];
  #serial = 0;
  #shown: Request | null = null;
  #sharp = false;
  #polling = false;
  /** Timer while the view moves, else 0. */
  #rest = 0;
  /** Timer until the plate seen is known to be stayed at, else 0. */
  #passing = 0;

  constructor(engine: OpenSeadragon.Viewer, options: SwitchOptions) {
    this.#engine = engine;
    this.#options = options;
    if (options.underlay) options.underlay.covered = () => this.#covered();
    engine.addHandler('tile-load-failed', (event) => {
      const source = event.tiledImage.source;
      for (const entry of this.#entries.values()) {
        if (entry.item === event.tiledImage && event.tile.level === source.minLevel && !entry.dropped) {
          entry.failed = true;
          options.onFail?.(entry.key);
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

  /**
   * @param ahead fetched once the wanted ones are there
   * @param coarse what to show until the tiles come; null where there is nothing yet
   */
  show(
    wanted: readonly Wanted[],
    ahead: readonly Wanted[] = [],
    coarse: () => CoarsePicture | null = () => null,
  ): void {
    const request = { serial: ++this.#serial, wanted, coarse, since: performance.now() };
    this.#requests.push(request);
    if (this.#requests.length > UNDER_WAY) this.#requests = this.#requests.slice(-UNDER_WAY);
    this.#ahead = ahead;
    clearTimeout(this.#passing);
    this.#passing = 0;
    this.#settle();
    if (this.#shown === request) this.#waitForStay(request);
    else this.#ensureAll(request);
    this.#trim(true);
    this.#poll();
  }

  /** The reader travels on although the same is seen here: tiles that were not asked for yet wait on. */
  passOn(): void {
    if (this.#passing === 0 || !this.#shown) return;
    clearTimeout(this.#passing);
    this.#waitForStay(this.#shown);
  }

  #waitForStay(request: Request): void {
    this.#passing = window.setTimeout(() => {
      this.#passing = 0;
      this.#ensureAll(request);
      this.#fetchAhead();
      this.#poll();
    }, PASSING_MS);
  }

  /** Number of pictures the engine holds now. */
  get held(): number {
    return this.#entries.size;
  }

  #ensureAll(request: Request): void {
    for (const one of request.wanted) this.#ensure(one);
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
    const drop = [...this.#entries.values()].filter((entry) => !keep.has(entry.key));
    // An engine without any picture stops drawing, the coarse one included.
    if (drop.length === this.#entries.size) drop.pop();
    for (const entry of drop) this.#remove(entry);
  }

  #loaded(one: Wanted): boolean {
    const item = this.#entries.get(one.key)?.item;
    // Outside the view there is nothing to wait for.
    return !!item && (!item.getDrawArea() || item.getFullyLoaded());
  }

  #covered(): boolean {
    return this.#sharp && (this.#shown?.wanted.every((one) => this.#loaded(one)) ?? false);
  }

  #ready(one: Wanted, waited: number): boolean {
    const entry = this.#entries.get(one.key);
    const item = entry?.item;
    if (!entry || !item || entry.failed) return false;
    if (this.#loaded(one)) return true;
    if (waited < GRACE_MS) return false;
    return item.getTilesToDraw().some((info) => info.tile.level === item.source.minLevel);
  }

  /** Shows the newest request that can be drawn, if it is newer than what is seen. */
  #settle(): void {
    const newest = this.#requests.at(-1);
    const coarse = newest && this.#options.underlay ? newest.coarse() : null;
    if (newest && coarse) {
      this.#take(newest, coarse);
      return;
    }
    const now = performance.now();
    const seen = this.#shown?.serial ?? 0;
    const request = this.#requests.findLast(
      (one) => one.serial > seen && one.wanted.every((wanted) => this.#ready(wanted, now - one.since)),
    );
    if (request) this.#take(request, null);
  }

  #take(request: Request, coarse: CoarsePicture | null): void {
    for (const entry of this.#entries.values()) {
      const wanted = request.wanted.find((one) => one.key === entry.key);
      if (entry.item && !wanted) entry.item.setOpacity(0);
    }
    this.#options.underlay?.show(coarse);
    this.#shown = request;
    this.#sharp = false;
    this.#requests = this.#requests.filter((one) => one.serial > request.serial);
    this.#raise();
    this.#trim(true);
    this.#options.onShown(request.wanted.map((one) => one.key));
    this.#sharpen();
  }

  /** Brings the tiles of what is seen to the top, as far as they are held. */
  #raise(): void {
    const { world } = this.#engine;
    for (const wanted of this.#shown?.wanted ?? []) {
      const item = this.#entries.get(wanted.key)?.item;
      if (!item || item.getOpacity() === wanted.opacity) continue;
      item.setOpacity(wanted.opacity);
      world.setItemIndex(item, world.getItemCount() - 1);
    }
  }

  #sharpen(): void {
    const shown = this.#shown;
    if (!shown || this.#sharp) return;
    this.#raise();
    if (!shown.wanted.every((one) => this.#loaded(one))) return;
    this.#sharp = true;
    this.#engine.forceRedraw();
    this.#options.onSharp?.(shown.wanted.map((one) => one.key));
    if (this.#requests.length === 0) this.#fetchAhead();
  }

  #fetchAhead(): void {
    if (this.#requests.length > 0 || this.#rest !== 0 || this.#passing !== 0 || !this.#sharp) return;
    for (const one of this.#ahead) this.#ensure(one);
  }

  /** Something is still to be waited for. */
  #waiting(): boolean {
    if (this.#requests.length > 0) return true;
    if (!this.#shown || this.#sharp || this.#passing !== 0) return false;
    return !this.#shown.wanted.some((one) => this.#entries.get(one.key)?.failed);
  }

  #poll(): void {
    if (this.#polling || !this.#waiting()) return;
    this.#polling = true;
    requestAnimationFrame(() => {
      this.#polling = false;
      this.#settle();
      this.#sharpen();
      this.#poll();
    });
  }
}
