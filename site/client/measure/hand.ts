/** The tool in hand: points put by pointer or by a crosshair that arrow keys move, until a reading is whole. */
import type { PointUm, Tool } from '../../lib/measuring/reading.ts';
import { formatFixed } from '../../lib/numbers.ts';
import type { Surface } from './surface.ts';

export interface HandEvents {
  /** Points or crosshair moved. */
  readonly changed: () => void;
  /** All points of a reading are put. */
  readonly done: (points: readonly PointUm[], pointingUm: number) => void;
  /** The tool was laid down. */
  readonly laidDown: () => void;
  readonly announce: (words: string) => void;
}

/** What the hand needs of a tool. */
export type Held = Pick<Tool, 'points' | 'where'>;

/** Steps of the crosshair, CSS pixels. */
const STEP_PX = 12;
const FINE_PX = 1;
/** A point this near to the one before, or to the first of an outline, is the same point again. */
const SAME_PX = 6;
const SAY_AFTER_MS = 500;

export class Hand {
  readonly #surfaces: readonly Surface[];
  readonly #events: HandEvents;
  #held: Held | null = null;
  #points: PointUm[] = [];
  #cursor: PointUm | null = null;
  #pointingUm = 0;
  #sayTimer = 0;

  constructor(surfaces: readonly Surface[], events: HandEvents) {
    this.#surfaces = surfaces;
    this.#events = events;
    for (const surface of surfaces) {
      surface.element.addEventListener('pointermove', (event) => {
        if (!this.#usable(surface) || event.pointerType === 'touch') return;
        const box = surface.element.getBoundingClientRect();
        this.#cursor = surface.pointAt(event.clientX - box.left, event.clientY - box.top);
        this.#events.changed();
      });
    }
  }

  get held(): Held | null {
    return this.#held;
  }
  get points(): readonly PointUm[] {
    return this.#points;
  }
  get cursor(): PointUm | null {
    return this.#cursor;
  }

  #usable(surface: Surface): boolean {
    return this.#held !== null && surface.kind === this.#held.where && !surface.hidden();
  }

  /** @returns false where no surface of the tool's kind is to be seen */
  take(held: Held): boolean {
    this.#release();
    this.#held = held;
    this.#points = [];
    const surface = this.#surfaces.find((one) => this.#usable(one));
    if (!surface) {
      this.#held = null;
      return false;
    }
    for (const one of this.#surfaces) {
      if (one.kind !== held.where) continue;
      one.hold({ put: (point) => this.#put(point, one), key: (event) => this.#key(event, one) });
    }
    const { clientWidth, clientHeight } = surface.element;
    this.#cursor = surface.pointAt(clientWidth / 2, clientHeight / 2);
    surface.element.focus({ preventScroll: true });
    this.#events.changed();
    return true;
  }

  layDown(): void {
    if (!this.#held) return;
    this.#release();
    this.#events.laidDown();
    this.#events.changed();
  }

  #release(): void {
    for (const one of this.#surfaces) one.hold(null);
    this.#held = null;
    this.#points = [];
    this.#cursor = null;
  }

  /** Ends an outline that has corners enough. */
  close(): boolean {
    if (this.#held?.points !== 'many' || this.#points.length < 3) return false;
    this.#finish();
    return true;
  }

  #put(point: PointUm, surface: Surface): void {
    const held = this.#held!;
    this.#cursor = point;
    // What is said of the reading must not be talked over by where the crosshair was.
    clearTimeout(this.#sayTimer);
    const near = (other: PointUm | undefined): boolean => {
      const [a, b] = [surface.place(point), other && surface.place(other)];
      return !!a && !!b && Math.hypot(a[0] - b[0], a[1] - b[1]) < SAME_PX;
    };
    if (near(this.#points.at(-1)) || (held.points === 'many' && near(this.#points[0]))) {
      if (held.points === 'many' && this.close()) return;
      // The same place twice is no path.
      this.#events.changed();
      return;
    }
    this.#pointingUm = Math.max(this.#points.length > 0 ? this.#pointingUm : 0, surface.pointingUm());
    this.#points.push(point);
    if (this.#points.length === held.points) {
      this.#finish();
      return;
    }
    const left = held.points === 'many' ? '' : `, ${(held.points as number) - this.#points.length} to go`;
    this.#events.announce(`Point ${this.#points.length} is put${left}.`);
    this.#events.changed();
  }

  #finish(): void {
    const points = this.#points;
    this.#points = [];
    this.#events.done(points, this.#pointingUm);
    this.#events.changed();
  }

  #key(event: KeyboardEvent, surface: Surface): boolean {
    if (event.altKey || event.ctrlKey || event.metaKey) return false;
    const step = event.shiftKey ? FINE_PX : STEP_PX;
    const move = {
      ArrowLeft: [-step, 0],
      ArrowRight: [step, 0],
      ArrowUp: [0, -step],
      ArrowDown: [0, step],
    }[event.key];
    if (move) {
      const at = this.#cursor && surface.place(this.#cursor);
      if (!at) return false;
      this.#cursor = surface.pointAt(at[0] + move[0]!, at[1] + move[1]!);
      surface.bringIn(this.#cursor);
      this.#say();
      this.#events.changed();
      return true;
    }
    if (event.key === 'Enter' || event.key === ' ') {
      if (this.#cursor) this.#put(this.#cursor, surface);
      return true;
    }
    if (event.key === 'Backspace' && this.#points.length > 0) {
      this.#points.pop();
      this.#events.announce('The last point is taken back.');
      this.#events.changed();
      return true;
    }
    if (event.key === 'Escape') {
      this.layDown();
      return true;
    }
    return false;
  }

  /** Says where the crosshair is, once it rests. */
  #say(): void {
    clearTimeout(this.#sayTimer);
    this.#sayTimer = window.setTimeout(() => {
      if (!this.#cursor) return;
      const [x, y, z] = this.#cursor.map((v) => formatFixed(v, 3)) as [string, string, string];
      this.#events.announce(
        this.#held?.where === 'section' ? `X ${x}, Y ${y}, Z ${z} µm` : `X ${x}, Y ${y} µm`,
      );
    }, SAY_AFTER_MS);
  }
}
