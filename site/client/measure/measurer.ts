/** Measures on a plate: fetches the tiles that a reading lies on, at full resolution, and evaluates it. */
import type { Pictures } from '../../../shared/artefacts/pictures.ts';
import { pixelFromDie } from '../../../shared/frames.ts';
import { plateGrey, platePath } from '../../../shared/plate-path.ts';
import type { PixelPoint } from '../../../shared/profile/band.ts';
import { nearestPlate } from '../../lib/depth.ts';
import {
  type Evaluated,
  greysOf,
  type Knowledge,
  type NotMeasured,
  type Pixels,
  pitchOf,
  spanOf,
} from '../../lib/measuring/evaluate.ts';
import { viaOf } from '../../lib/measuring/evaluate-via.ts';
import { samplerOf } from '../../lib/measuring/raster.ts';
import type { PointUm, ReadingInput, ReadingValue } from '../../lib/measuring/reading.ts';
import { angleOf, areaOf, crossesItself, distanceOf } from '../../lib/measuring/shapes.ts';
import { type PixelRectangle, TileCrop } from '../tile-crop.ts';
import type { ViewerHost } from '../viewer-host.ts';
import type { ScanKnowledge } from './knowledge.ts';

/** Room round a path for turning it, and for the pixels that interpolation asks for. */
const ROOM_PX = 12;
/** A path longer than this needs more pixels than a browser should hold. */
const MOST_PIXELS = 24e6;

const no = (reason: string): NotMeasured => ({ kind: 'refused', reason });

export class PlateMeasurer {
  readonly #host: ViewerHost;
  readonly #known: ScanKnowledge;
  readonly #pictures: Pictures | null;
  readonly #tiles: TileCrop;

  constructor(host: ViewerHost, known: ScanKnowledge, pictures: Pictures | null) {
    this.#host = host;
    this.#known = known;
    this.#pictures = pictures;
    this.#tiles = new TileCrop(host.root, host.grid);
  }

  plateOf(points: readonly PointUm[]): number {
    return nearestPlate(this.#host.plates.z_um, points[0]![2]);
  }

  /** The layer at a plate; between two layers the label says none. */
  layerOf(plate: number): string | null {
    return this.#host.layers.plates[plate]?.layer ?? null;
  }

  /** Where the points fall outside the field there is nothing to measure. */
  async measure(input: ReadingInput): Promise<Evaluated | NotMeasured> {
    const plate = this.plateOf(input.points_um);
    const known = this.#known.ofLayer(this.layerOf(plate));
    const flat = input.points_um.map(([x, y]) => [x, y] as const);
    const byHand = byHandOf(input, flat, known);
    if (byHand) return byHand;
    const path = flat.map(([x, y]) => pixelFromDie(this.#host.grid, x, y)) as unknown as [
      PixelPoint,
      PixelPoint,
    ];
    const widthPx = Math.max(1, (input.average_um ?? 0) / known.pixelUm);
    const pixels = await this.#pixels(path, widthPx, plate);
    if (!pixels) return no('the path is too long to be measured at full resolution; draw a shorter one');
    if (input.kind === 'width' || input.kind === 'space')
      return spanOf(input.kind, path, widthPx, pixels, known);
    if (input.kind === 'pitch') return pitchOf(path, widthPx, pixels, known);
    if (input.kind === 'via') return viaOf(path, pixels, known);
    return greysOf(path, widthPx, pixels, known);
  }

  async #pixels(path: readonly PixelPoint[], widthPx: number, plate: number): Promise<Pixels | null> {
    const { plates, grid } = this.#host;
    const rectangle = rectangleOf(path, widthPx / 2 + ROOM_PX, grid);
    if (rectangle.width * rectangle.height > MOST_PIXELS) return null;
    const layer = this.layerOf(plate);
    const render = this.#pictures?.layers.find((one) => one.name === layer)?.render;
    const [image, drawn] = await Promise.all([
      this.#tiles.read(platePath(plates.path, plate), plates.tiles, rectangle),
      render ? this.#tiles.read(render.path, this.#pictures!.render_tiles, rectangle) : null,
    ]);
    return {
      image: samplerOf(image, rectangle.x, rectangle.y),
      drawn: drawn && samplerOf(drawn, rectangle.x, rectangle.y),
      grey: plateGrey(plates.grey, plate),
    };
  }
}

/** Readings that need no pixels; null for all others. */
function byHandOf(
  input: ReadingInput,
  points: readonly (readonly [number, number])[],
  known: Knowledge,
): Evaluated | NotMeasured | null {
  const pointing = input.pointing_um ?? known.pixelUm;
  const of = (values: readonly ReadingValue[] | null, reason: string): Evaluated | NotMeasured =>
    values
      ? { kind: 'evaluated', values, trace: null, resolutionUm: known.resolutionUm, doubts: [] }
      : no(reason);
  if (input.kind === 'distance') return of(distanceOf(points[0]!, points[1]!, pointing, known), '');
  if (input.kind === 'angle')
    return of(angleOf(points[0]!, points[1]!, points[2]!, pointing), 'an arm of this angle has no length');
  if (input.kind !== 'area') return null;
  if (crossesItself(points)) return no('the outline crosses itself; put its corners in order round it');
  return of(areaOf(points, pointing, known), 'the outline encloses nothing');
}

/** Pixels a path needs, cut at the border of the grid. */
function rectangleOf(
  path: readonly PixelPoint[],
  room: number,
  grid: { width_px: number; height_px: number },
): PixelRectangle {
  const side = (axis: 0 | 1, most: number): [number, number] => {
    const of = path.map((point) => point[axis]);
    // Turning a path about its middle swings its ends out by less than half its length.
    const low = Math.max(0, Math.floor(Math.min(...of) - room - swing(path)));
    const high = Math.min(most - 1, Math.ceil(Math.max(...of) + room + swing(path)));
    return [low, Math.max(1, high - low + 1)];
  };
  const [x, width] = side(0, grid.width_px);
  const [y, height] = side(1, grid.height_px);
  return { x, y, width, height };
}

/** How far the ends of a path move when it is turned as far as it may be, pixels. */
function swing(path: readonly PixelPoint[]): number {
  const [a, b] = [path[0]!, path.at(-1)!];
  return 0.6 * Math.hypot(b[0] - a[0], b[1] - a[1]);
}
