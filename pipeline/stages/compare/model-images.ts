/** Model images of all layers at once: every raster is blurred once and added to each portrait it shows in. */
import { blurPlane } from '../../kernels/gaussian-plane.ts';
import type { HighPass } from '../../kernels/high-pass.ts';
import type { Canvas } from './canvas.ts';
import type { LayerFit, LayerOnCanvas } from './fit-layers.ts';
import { BANK_PX } from './kernel-bank.ts';

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
  const blurs: Float32Array[] = BANK_PX.map(() => new Float32Array(0));
  layers.forEach((layer, source) => {
    const weights = fits.map((fit) => fit?.kernels.get(source) ?? null);
    BANK_PX.forEach((sigma, index) => {
      if (!weights.some((w) => w && w[index] !== 0)) return;
      if (blurs[index]!.length === 0) blurs[index] = plane();
      highPass.apply(blurPlane(layer.rasters.known, width, height, sigma, blurs[index]));
    });
    weights.forEach((kernel, target) => {
      if (kernel) addPart(models[target]!, kernel, blurs, width, source === target);
    });
  });
  return models;
}

/** Adds a weighed sum of blurs, row by row: three rows of it are all that its slopes ask for. */
function addPart(
  { image, squares }: ModelImage,
  kernel: Float64Array,
  blurs: readonly Float32Array[],
  width: number,
  own: boolean,
): void {
  const [value, slope] = own ? [squares[0], squares[1]] : [squares[2], squares[3]];
  const height = image.length / width;
  const used = [...kernel.keys()].filter((index) => kernel[index] !== 0);
  let [above, here, below] = [0, 1, 2].map(() => new Float32Array(width)) as [
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  for (let y = 0; y <= height; y++) {
    // The row that is mixed lies one below the one whose slopes are taken.
    [above, here, below] = [here, below, above];
    if (y < height) {
      const base = y * width;
      below.fill(0);
      for (const index of used) {
        const [weight, blur] = [kernel[index]!, blurs[index]!];
        for (let x = 0; x < width; x++) below[x]! += weight * blur[base + x]!;
      }
      for (let x = 0; x < width; x++) {
        image[base + x]! += below[x]!;
        value[base + x]! += below[x]! * below[x]!;
      }
    }
    if (y < 2 || y === height) continue;
    for (let x = 1, n = (y - 1) * width + 1; x < width - 1; x++, n++) {
      const dx = (here[x + 1]! - here[x - 1]!) / 2;
      const dy = (below[x]! - above[x]!) / 2;
      slope[n]! += dx * dx + dy * dy;
    }
  }
}
