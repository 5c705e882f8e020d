/** What the build found out about a scan that readings in the browser lean on: blur, resolution, scale. */
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { TEN_TO_NINETY } from '../../../shared/profile/normal.ts';
import { relativeDepthScale, relativeScale } from '../../../shared/uncertainty/limits.ts';
import type { Knowledge } from '../../lib/measuring/evaluate.ts';

export interface DepthKnowledge {
  /** Standard deviation of the blur in depth and its uncertainty, micrometres; null where it was not measured. */
  readonly blurUm: { readonly sd: number; readonly u: number } | null;
  readonly resolutionUm: number | null;
  /** Relative standard uncertainty of lengths in depth, and of lengths along the section. */
  readonly relative: number;
  readonly relativeInPlane: number;
}

export class ScanKnowledge {
  readonly #measured: Measurements | null;
  readonly #relative: number;
  readonly #relativeDepth: number;
  readonly #grid: PlateGrid;
  readonly #stacked: boolean;

  /** @param withMeasurements whether the build measured this scan: a file that is not there is not asked for */
  static async open(
    root: string,
    grid: PlateGrid,
    stacked: boolean,
    withMeasurements: boolean,
  ): Promise<ScanKnowledge> {
    const json = async <T>(name: string): Promise<T | null> => {
      const answer = await fetch(root + name).catch(() => null);
      return answer?.ok ? ((await answer.json()) as T) : null;
    };
    const [measured, placement] = await Promise.all([
      withMeasurements ? json<Measurements>('measurements.json') : null,
      json<Placement>('placement.json'),
    ]);
    return new ScanKnowledge(measured, placement, grid, stacked);
  }

  constructor(measured: Measurements | null, placement: Placement | null, grid: PlateGrid, stacked: boolean) {
    this.#measured = measured;
    this.#grid = grid;
    this.#stacked = stacked;
    const u = Math.max(placement?.uncertainty_um?.x ?? 0, placement?.uncertainty_um?.y ?? 0);
    const extent = Math.sqrt(grid.width_px * grid.height_px) * grid.pixel_um;
    this.#relative = relativeScale(u, extent);
    this.#relativeDepth = relativeDepthScale(placement);
  }

  ofLayer(name: string | null): Knowledge {
    const pixelUm = this.#grid.pixel_um;
    const images = this.#measured?.layers.filter((layer) => layer.image !== null) ?? [];
    // Blur hardly differs between layers: another one's is better than none.
    const image = (images.find((layer) => layer.name === name) ?? images[images.length >> 1])?.image;
    const found = this.#measured?.resolution.filter((one) => one.method === 'edge-spread') ?? [];
    const resolution =
      found.find((one) => one.layer === name)?.um ?? (image ? TEN_TO_NINETY * image.blur_um : null);
    return {
      ...{ pixelUm, relative: this.#relative, stacked: this.#stacked, resolutionUm: resolution },
      blur: image ? { sdPx: image.blur_um / pixelUm, uncertaintyPx: image.blur_sd_um / pixelUm } : null,
      sign: image && image.contrast < 0 ? -1 : 1,
    };
  }

  get depth(): DepthKnowledge {
    const found = this.#measured?.resolution.find((one) => one.method === 'depth-spread');
    return {
      blurUm: found
        ? { sd: found.um / TEN_TO_NINETY, u: (found.uncertainty_um ?? 0.1 * found.um) / TEN_TO_NINETY }
        : null,
      resolutionUm: found?.um ?? null,
      relative: this.#relativeDepth,
      relativeInPlane: this.#relative,
    };
  }
}
