/** Model images of all layers at once: every raster is blurred once and added to each portrait it shows in. */
import type { HighPass } from '../../kernels/high-pass.ts';
import type { Canvas } from './canvas.ts';
import type { LayerFit, LayerOnCanvas } from './fit-layers.ts';
import { eachBlur } from './kernel-bank.ts';

export interface ModelImage {
  /** High-passed sum of the layer's own metal and of what shines through. */
  readonly image: Float32Array;
  /**
   * What the model may be wrong by is a share of its parts and of their slopes: the squares of the layer's own part, of
   * its slope per pixel, and the sums over the other layers of the squares of theirs.
   */
  readonly squares: readonly [
    own: Float32Array,
    ownSlope: Float32Array,
    others: Float32Array,
    slopes: Float32Array,
  ];
}

/** Null where there is no fit. */
export function modelImages(
  layers: readonly LayerOnCanvas[],
  fits: readonly (LayerFit | null)[],
  canvas: Canvas,
  highPass: HighPass,
): (ModelImage | null)[] {
  const { width, height } = canvas;
  const plane = (): Float32Array => new Float32Array(width * height);
  const models = fits.map((fit): ModelImage | null =>
    fit ? { image: plane(), squares: [plane(), plane(), plane(), plane()] } : null,
  );
  const kept: Float32Array[] = [];
  layers.forEach((layer, source) => {
    let taken = 0;
    const parts = fits.map((fit) => {
      if (!fit?.kernels.get(source)) return null;
      kept[taken] ??= plane();
      return kept[taken++]!.fill(0);
    });
    if (taken === 0) return;
    const used = (index: number) => fits.some((fit) => (fit?.kernels.get(source)?.[index] ?? 0) !== 0);
    eachBlur(layer.rasters.known, width, height, highPass, used, (image, index) => {
      parts.forEach((part, target) => {
        const weight = fits[target]?.kernels.get(source)?.[index] ?? 0;
        if (weight === 0 || !part) return;
        for (let n = 0; n < image.length; n++) part[n]! += weight * image[n]!;
      });
    });
    parts.forEach((part, target) => {
      if (part) addPart(models[target]!, part, width, source === target);
    });
  });
  return models;
}

function addPart({ image, squares }: ModelImage, part: Float32Array, width: number, own: boolean): void {
  const [value, slope] = own ? [squares[0], squares[1]] : [squares[2], squares[3]];
  for (let n = 0; n < part.length; n++) {
    image[n]! += part[n]!;
    value[n]! += part[n]! * part[n]!;
  }
  for (let n = width; n < part.length - width; n++) {
    const dx = (part[n + 1]! - part[n - 1]!) / 2;
    const dy = (part[n + width]! - part[n - width]!) / 2;
    slope[n]! += dx * dx + dy * dy;
  }
}
