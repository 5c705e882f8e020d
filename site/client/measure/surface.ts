/** Where points are put: a plate, or the vertical section. Hands and drawings know nothing else of either. */
import { dieFromEngine } from '../../lib/camera.ts';
import type { PointUm } from '../../lib/measuring/reading.ts';
import type { Claim, PictureView } from '../picture-view.ts';

export interface Hold {
  /** A click or a tap. */
  readonly put: (point: PointUm) => void;
  readonly key: (event: KeyboardEvent) => boolean;
}

export interface Surface {
  readonly kind: 'plate' | 'section';
  /** Takes the keyboard; drawings lie inside it. */
  readonly element: HTMLElement;
  readonly hidden: () => boolean;
  /** CSS pixels inside the element of a point; null where it does not lie on this surface. */
  readonly place: (point: PointUm) => readonly [number, number] | null;
  readonly pointAt: (x: number, y: number) => PointUm;
  /** What a point put by hand may be off by either way, micrometres. */
  readonly pointingUm: () => number;
  readonly hold: (hold: Hold | null) => void;
  /** Moves what is shown so that a place comes into view. */
  readonly bringIn: (point: PointUm) => void;
  readonly onRedraw: (listener: () => void) => void;
}

/** A place this near to the border of a view is brought further in. */
const MARGIN_PX = 24;

export function plateSurface(view: PictureView, zUm: () => number): Surface {
  const { grid, ground } = view;
  return {
    kind: 'plate',
    element: ground,
    hidden: () => view.hidden,
    place: ([x, y]) => view.pixelOf(x, y),
    pointAt: (x, y) => {
      const camera = view.camera();
      const [cx, cy] = view.pixelOf(camera.xUm, camera.yUm);
      const scale = view.umPerPx();
      return [camera.xUm + (x - cx) * scale, camera.yUm - (y - cy) * scale, zUm()];
    },
    pointingUm: () => Math.max(view.umPerPx(), grid.pixel_um),
    hold: (hold) => {
      const claim: Claim | null = hold && {
        click: (u, v) => hold.put([...dieFromEngine(grid, u, v), zUm()]),
        key: hold.key,
      };
      view.claim(claim);
    },
    bringIn: ([x, y]) => {
      const [px, py] = view.pixelOf(x, y);
      const { clientWidth, clientHeight } = ground;
      const inside =
        px >= MARGIN_PX && py >= MARGIN_PX && px <= clientWidth - MARGIN_PX && py <= clientHeight - MARGIN_PX;
      if (!inside) view.moveTo({ ...view.camera(), xUm: x, yUm: y }, false);
    },
    onRedraw: (listener) => {
      view.onMove(listener);
      new ResizeObserver(listener).observe(ground);
    },
  };
}
