/** Model images of all layers at once: every raster is blurred once and added to each portrait it shows in. */
import type { HighPass } from '../../kernels/high-pass.ts';
import type { Canvas } from './canvas.ts';
import type { LayerFit, LayerOnCanvas } from './fit-layers.ts';
import { eachBlur } from './kernel-bank.ts';

/** High-passed models; null where there is no fit. */
export function modelImages(
  layers: readonly LayerOnCanvas[],
  fits: readonly (LayerFit | null)[],
  canvas: Canvas,
  highPass: HighPass,
): (Float32Array | null)[] {
  const { width, height } = canvas;
  const models = fits.map((fit) => (fit ? new Float32Array(width * height) : null));
  layers.forEach((layer, source) => {
    const used = (index: number) => fits.some((fit) => (fit?.kernels.get(source)?.[index] ?? 0) !== 0);
    eachBlur(layer.rasters.known, width, height, highPass, used, (image, index) => {
      fits.forEach((fit, target) => {
        const weight = fit?.kernels.get(source)?.[index] ?? 0;
        const model = models[target];
        if (weight === 0 || !model) return;
        for (let n = 0; n < image.length; n++) model[n]! += weight * image[n]!;
      });
    });
  });
  return models;
}
