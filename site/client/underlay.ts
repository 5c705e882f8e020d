/** A coarse picture under the tiles of a view: what is seen until they come. */
import OpenSeadragon from 'openseadragon';
import type { PictureView } from './picture-view.ts';

/** A picture from the upper left corner of the grid on. */
export interface CoarsePicture {
  readonly canvas: CanvasImageSource;
  /** Its width and height in widths of the grid. */
  readonly width: number;
  readonly height: number;
}

export class Underlay {
  readonly #view: PictureView;
  #picture: CoarsePicture | null = null;
  /** True where tiles hide all of it; a coarse rim must not stand out beyond the data. */
  covered: () => boolean = () => false;

  constructor(view: PictureView) {
    this.#view = view;
    view.engine.addHandler('update-viewport', () => this.#draw());
  }

  show(picture: CoarsePicture | null): void {
    if (picture === null && this.#picture === null) return;
    this.#picture = picture;
    this.#view.engine.forceRedraw();
  }

  #draw(): void {
    const picture = this.#picture;
    if (!picture || this.covered()) return;
    const { viewport, drawer } = this.#view.engine;
    const canvas = drawer.canvas as HTMLCanvasElement;
    const context = canvas.getContext('2d');
    if (!context) return;
    const ratio = canvas.width / viewport.getContainerSize().x;
    const corner = viewport.pixelFromPointNoRotate(new OpenSeadragon.Point(0, 0), true);
    const far = viewport.pixelFromPointNoRotate(new OpenSeadragon.Point(picture.width, picture.height), true);
    context.save();
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    // Tiles that are there already stay on top.
    context.globalCompositeOperation = 'destination-over';
    context.imageSmoothingEnabled = true;
    context.drawImage(picture.canvas, corner.x, corner.y, far.x - corner.x, far.y - corner.y);
    context.restore();
  }
}
