/** A lit net over one picture: filled where it runs at this depth, outlined in the colour of its layer elsewhere. */

import type { NetIndex } from '../../shared/artefacts/net-lookup.ts';
import type { Box } from '../../shared/polygon.ts';
import { ringOf } from '../lib/net-shapes.ts';
import type { LitNet } from './net-data.ts';
import { oncePerFrame } from './once-per-frame.ts';
import type { PictureView } from './picture-view.ts';
import { putHidden } from './put.ts';

interface Drawn {
  readonly layer: string;
  readonly path: Path2D;
}

const LIT = '#6fd0de';
/** Beyond this many shapes outlines cost more than they show. */
const MANY = 20_000;

export class NetOverlay {
  readonly #view: PictureView;
  readonly #canvas: HTMLCanvasElement;
  readonly #scratch = document.createElement('canvas');
  readonly #colours: Readonly<Record<string, string>>;
  #drawn: readonly Drawn[] = [];
  #ends: readonly { layer: string; x: number; y: number; kind: string }[] = [];
  #origin: readonly [number, number] = [0, 0];
  #outlined = true;
  #here: ReadonlySet<string> = new Set();
  #boxes: readonly Box[] = [];

  constructor(view: PictureView, colours: Readonly<Record<string, string>>) {
    this.#view = view;
    this.#colours = colours;
    this.#canvas = document.createElement('canvas');
    this.#canvas.className = 'net-overlay';
    this.#canvas.setAttribute('aria-hidden', 'true');
    // Under the coordinates and the marks, over the picture.
    view.ground.querySelector('.graticule')!.before(this.#canvas);
    view.onMove(() => this.refresh());
    new ResizeObserver(() => this.refresh()).observe(view.ground);
  }

  light(net: LitNet | null, index: NetIndex): void {
    const unit = index.unit_um;
    // Relative to the net's own corner: paths keep single precision only.
    this.#origin = net ? [net.box[0], net.box[1]] : [0, 0];
    const [ox, oy] = this.#origin;
    let count = 0;
    this.#drawn = (net?.layers ?? []).map(({ layer, shapes }) => {
      const path = new Path2D();
      count += shapes.length;
      for (const shape of shapes) {
        const ring = ringOf(shape);
        path.moveTo(ring[0]! - ox, ring[1]! - oy);
        for (let n = 2; n < ring.length; n += 2) path.lineTo(ring[n]! - ox, ring[n + 1]! - oy);
        path.closePath();
      }
      return { layer: index.layers[layer]!.name, path };
    });
    this.#outlined = count <= MANY;
    this.#ends = (net?.ends ?? []).map((end) => ({
      layer: index.layers[end.layer]!.name,
      x: end.at[0] * unit,
      y: end.at[1] * unit,
      kind: end.kind,
    }));
    this.#unit = unit;
    this.refresh();
  }
  #unit = 1;

  /** Cells to outline. */
  outline(boxes: readonly Box[]): void {
    this.#boxes = boxes;
    this.refresh();
  }

  /** @param layers names of the layers at the present depth */
  atDepth(layers: readonly string[]): void {
    this.#here = new Set(layers);
    this.refresh();
  }

  /** Draws once per frame, however often it is asked. */
  readonly refresh = oncePerFrame(() => this.#draw());

  #draw(): void {
    const { width, height } = this.#view.size;
    const nothing = this.#drawn.length === 0 && this.#boxes.length === 0;
    putHidden(this.#canvas, nothing);
    if (nothing || width === 0 || height === 0) return;
    const ratio = Math.min(2, devicePixelRatio || 1);
    for (const canvas of [this.#canvas, this.#scratch]) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const context = this.#canvas.getContext('2d')!;
    for (const one of this.#drawn) {
      if (!this.#here.has(one.layer))
        this.#drawLayer(context, one, ratio, this.#colours[one.layer] ?? '#ffffff', 0.22);
    }
    for (const one of this.#drawn) {
      if (this.#here.has(one.layer)) this.#drawLayer(context, one, ratio, LIT, 0.55);
    }
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    for (const end of this.#ends) this.#drawEnd(context, end);
    context.setLineDash([6, 4]);
    context.strokeStyle = '#eceae4';
    context.lineWidth = 1.5;
    for (const [x0, y0, x1, y1] of this.#boxes) {
      const [left, bottom] = this.#view.pixelOf(x0, y0);
      const [right, top] = this.#view.pixelOf(x1, y1);
      context.strokeRect(left, top, right - left, bottom - top);
    }
    context.setLineDash([]);
  }

  /** One layer as one area: stroked first and cut out again, so that no seam shows where shapes meet. */
  #drawLayer(
    target: CanvasRenderingContext2D,
    one: Drawn,
    ratio: number,
    colour: string,
    opacity: number,
  ): void {
    const scratch = this.#scratch.getContext('2d')!;
    scratch.setTransform(1, 0, 0, 1, 0, 0);
    scratch.clearRect(0, 0, this.#scratch.width, this.#scratch.height);
    const unit = this.#unit;
    const [x, y] = this.#view.pixelOf(this.#origin[0] * unit, this.#origin[1] * unit);
    const scale = (ratio * unit) / this.#view.umPerPx();
    scratch.setTransform(scale, 0, 0, -scale, x * ratio, y * ratio);
    if (this.#outlined) {
      scratch.lineWidth = (3 * ratio) / scale;
      scratch.lineJoin = 'round';
      scratch.strokeStyle = colour;
      scratch.stroke(one.path);
      scratch.globalCompositeOperation = 'destination-out';
      scratch.fillStyle = '#000';
      scratch.fill(one.path);
      scratch.globalCompositeOperation = 'source-over';
    }
    scratch.globalAlpha = opacity;
    scratch.fillStyle = colour;
    scratch.fill(one.path);
    scratch.globalAlpha = 1;
    target.setTransform(1, 0, 0, 1, 0, 0);
    target.drawImage(this.#scratch, 0, 0);
  }

  /** A ring where the net ends, a filled one where it leaves the field. */
  #drawEnd(
    context: CanvasRenderingContext2D,
    end: { layer: string; x: number; y: number; kind: string },
  ): void {
    if (!this.#here.has(end.layer)) return;
    const [x, y] = this.#view.pixelOf(end.x, end.y);
    context.beginPath();
    context.arc(x, y, 5, 0, 2 * Math.PI);
    context.lineWidth = 4;
    context.strokeStyle = '#0b0c0e';
    context.stroke();
    context.lineWidth = 2;
    context.strokeStyle = '#eceae4';
    context.stroke();
    if (end.kind === 'field') {
      context.fillStyle = '#eceae4';
      context.fill();
    }
  }
}
