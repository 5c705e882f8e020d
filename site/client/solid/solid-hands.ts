/** Turning a scene: one finger or the mouse turns and tilts, two fingers and the wheel bring it nearer, keys do both. */
import type { SolidCamera } from '../../lib/solid-camera.ts';

export interface SolidHandsOptions {
  readonly camera: () => SolidCamera;
  readonly look: (camera: SolidCamera) => void;
  readonly whole: () => void;
  readonly depthKey: ((key: string) => boolean) | undefined;
}

const DEG_PER_PX = 0.4;
const KEY_DEG = 5;
const NEARER = 1.3;

export class SolidHands {
  readonly #options: SolidHandsOptions;
  /** Fingers that are down, by number. */
  readonly #down = new Map<number, { x: number; y: number }>();

  constructor(ground: HTMLElement, options: SolidHandsOptions) {
    this.#options = options;
    ground.addEventListener('pointerdown', (event) => {
      if (event.button !== 0) return;
      ground.setPointerCapture(event.pointerId);
      this.#down.set(event.pointerId, { x: event.clientX, y: event.clientY });
    });
    ground.addEventListener('pointermove', (event) => this.#move(event));
    const up = (event: PointerEvent): void => {
      this.#down.delete(event.pointerId);
    };
    ground.addEventListener('pointerup', up);
    ground.addEventListener('pointercancel', up);
    ground.addEventListener(
      'wheel',
      (event) => {
        event.preventDefault();
        this.#nearer(NEARER ** (-event.deltaY / (event.deltaMode === 0 ? 100 : 3)));
      },
      { passive: false },
    );
    ground.addEventListener('keydown', (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      if (this.#key(event.key) || options.depthKey?.(event.key)) event.preventDefault();
    });
  }

  #nearer(factor: number): void {
    const camera = this.#options.camera();
    this.#options.look({ ...camera, halfUm: camera.halfUm / factor });
  }

  #turn(byDeg: number, tiltDeg: number): void {
    const camera = this.#options.camera();
    this.#options.look({
      ...camera,
      turnDeg: camera.turnDeg + byDeg,
      tiltDeg: camera.tiltDeg + tiltDeg,
    });
  }

  #move(event: PointerEvent): void {
    const before = this.#down.get(event.pointerId);
    if (!before) return;
    const now = { x: event.clientX, y: event.clientY };
    const other = [...this.#down].find(([id]) => id !== event.pointerId)?.[1];
    if (other) {
      const apart = (at: { x: number; y: number }): number => Math.hypot(at.x - other.x, at.y - other.y);
      this.#nearer(Math.max(1, apart(now)) / Math.max(1, apart(before)));
    } else this.#turn((now.x - before.x) * DEG_PER_PX, (now.y - before.y) * DEG_PER_PX);
    this.#down.set(event.pointerId, now);
  }

  #key(key: string): boolean {
    if (key === 'ArrowLeft') this.#turn(-KEY_DEG, 0);
    else if (key === 'ArrowRight') this.#turn(KEY_DEG, 0);
    else if (key === 'ArrowUp') this.#turn(0, -KEY_DEG);
    else if (key === 'ArrowDown') this.#turn(0, KEY_DEG);
    else if (key === '+' || key === '=') this.#nearer(NEARER);
    else if (key === '-' || key === '−') this.#nearer(1 / NEARER);
    else if (key === '0') this.#options.whole();
    else return false;
    return true;
  }
}
