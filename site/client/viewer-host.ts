/** What the panels beside the pictures may ask of the viewer they stand in. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import type { Camera } from '../lib/camera.ts';
import type { PlateLayer } from '../lib/depth.ts';
import type { KeptParts } from '../lib/permalink.ts';
import type { PictureView } from './picture-view.ts';

export interface ViewPart {
  readonly view: PictureView;
  readonly pane: HTMLElement;
}

export interface ViewerHost {
  readonly element: HTMLElement;
  /** Address of the scan folder, with a slash at its end. */
  readonly root: string;
  /** The image first. */
  readonly parts: readonly ViewPart[];
  readonly grid: PlateGrid;
  readonly plates: Plates;
  readonly layers: Layers;
  readonly colours: Readonly<Record<string, string>>;
  /** Number of the present plate. */
  readonly plate: () => number;
  /** Layers at the present plate, the nearest first. */
  readonly presentLayers: () => readonly PlateLayer[];
  readonly goToPlate: (index: number) => void;
  /** Moves all views. */
  readonly lookAt: (camera: Camera) => void;
  readonly camera: () => Camera;
  readonly announce: (words: string) => void;
  readonly onPlate: (listener: () => void) => void;
  /** Parts of the address that a panel answers for. */
  readonly keepInAddress: (part: KeptParts) => void;
}
