/** Names of layers beside the solids, and a scale bar: in a parallel projection lengths across the screen compare. */
import type { Box } from '../../../shared/polygon.ts';
import { spreadLabels } from '../../lib/label-spread.ts';
import { chooseScaleBar } from '../../lib/scale-bar.ts';
import { project, type SolidCamera } from '../../lib/solid-camera.ts';
import { make } from '../svg-element.ts';

export interface LabelScene {
  readonly camera: SolidCamera;
  /** CSS pixels of the picture. */
  readonly width: number;
  readonly height: number;
  readonly windowUm: Box;
  /** Heights relative to the middle of the scene. */
  readonly layers: readonly { readonly name: string; readonly z: number }[];
}

const APART_PX = 15;

export function drawLabels(svg: SVGElement, scene: LabelScene): void {
  const { camera, width, height, windowUm, layers } = scene;
  const [halfX, halfY] = [(windowUm[2] - windowUm[0]) / 2, (windowUm[3] - windowUm[1]) / 2];
  const toPx = (point: readonly [number, number, number]): [number, number] => {
    const [right, up] = project(camera, point);
    return [width / 2 + (right * height) / 2, height / 2 - (up * height) / 2];
  };
  // The corner that stands farthest to the right carries the names.
  const corner = [
    [-halfX, -halfY],
    [halfX, -halfY],
    [halfX, halfY],
    [-halfX, halfY],
  ].reduce((best, one) => (toPx([one[0]!, one[1]!, 0])[0] > toPx([best[0]!, best[1]!, 0])[0] ? one : best));
  const places = layers.map((layer) => toPx([corner[0]!, corner[1]!, layer.z]));
  const x = Math.min(width - 74, Math.max(...places.map(([at]) => at), 0) + 26);
  const ys = spreadLabels(
    places.map(([, y]) => y),
    APART_PX,
    [14, height - 40],
  );
  const parts: SVGElement[] = [];
  for (const [n, layer] of layers.entries()) {
    const [fromX, fromY] = places[n]!;
    const y = ys[n]!;
    parts.push(
      make('path', {
        d: `M ${fromX.toFixed(1)} ${fromY.toFixed(1)} L ${(x - 5).toFixed(1)} ${y.toFixed(1)}`,
      }),
    );
    parts.push(make('text', { x: x.toFixed(1), y: (y + 4).toFixed(1) }, layer.name));
  }
  const bar = chooseScaleBar((2 * camera.halfUm) / height, Math.min(150, width * 0.35));
  const right = width - 16;
  const foot = height - 12;
  parts.push(
    make('path', { d: `M ${right - bar.px} ${foot - 6} v 6 H ${right} v -6` }),
    make('text', { x: right - bar.px / 2, y: foot - 8, 'text-anchor': 'middle' }, bar.label),
  );
  svg.replaceChildren(...parts);
}
