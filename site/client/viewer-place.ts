/** What other scripts of a page may do with a viewer, and what it tells them. */
import type { Views } from '../lib/permalink.ts';

/** A place in a scan; what is left out stays as it is. */
export interface ViewerPlace {
  readonly plate?: number | undefined;
  /** Instead of a plate: the one nearest to this height. */
  readonly zUm?: number | undefined;
  /** Middle of the view, in the frame of the scan's plates. */
  readonly xUm?: number | undefined;
  readonly yUm?: number | undefined;
  readonly widthUm?: number | undefined;
  readonly show?: Views | undefined;
}

/** The element `<scan-viewer>` once its attribute `data-ready` is there; "viewer-ready" is sent at that moment. */
export interface ScanViewerElement extends HTMLElement {
  goTo(place: ViewerPlace): void;
}

/** Detail of the event "place-picked": a click or tap on a picture that moved nothing. */
export interface PickedPlace {
  readonly xUm: number;
  readonly yUm: number;
  readonly zUm: number;
  readonly plate: number;
  /** Layers at the plate, the nearest first. */
  readonly layers: readonly string[];
}
