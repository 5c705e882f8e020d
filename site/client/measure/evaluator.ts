/** From what a reading is made from to its values, on whichever surface it lies. */
import type { Evaluated, NotMeasured } from '../../lib/measuring/evaluate.ts';
import { heightBetween, thicknessAt } from '../../lib/measuring/evaluate-depth.ts';
import type { PointUm, ReadingInput } from '../../lib/measuring/reading.ts';
import type { PlateColumns } from '../section/plate-columns.ts';
import type { ViewerHost } from '../viewer-host.ts';
import type { ScanKnowledge } from './knowledge.ts';
import type { PlateMeasurer } from './measurer.ts';

/** Beyond the layer on either side, in its thicknesses and at least so many micrometres. */
const ROOM_SHARE = 0.9;
const ROOM_UM = 0.25;
/** Heights looked at round a point that lies in no layer. */
const LOOK_UM = 1;

export class Evaluator {
  readonly #host: ViewerHost;
  readonly #known: ScanKnowledge;
  readonly #plates: PlateMeasurer;
  readonly #columns: PlateColumns;

  constructor(host: ViewerHost, known: ScanKnowledge, plates: PlateMeasurer, columns: PlateColumns) {
    this.#host = host;
    this.#known = known;
    this.#plates = plates;
    this.#columns = columns;
  }

  /** A tile that cannot be had is a refusal like any other, with its reason. */
  async evaluate(input: ReadingInput): Promise<Evaluated | NotMeasured> {
    try {
      if (input.kind === 'height') return this.#height(input);
      return input.kind === 'thickness' ? await this.#thickness(input) : await this.#plates.measure(input);
    } catch (error) {
      return { kind: 'refused', reason: `the tiles could not be loaded (${(error as Error).message})` };
    }
  }

  #height(input: ReadingInput): Evaluated {
    const [a, b] = input.points_um as [PointUm, PointUm];
    const { relative: depth, relativeInPlane: plane, resolutionUm } = this.#known.depth;
    const pointUm = input.pointing_um ?? this.#host.plates.step_um;
    return heightBetween(a, b, pointUm, { plane, depth }, resolutionUm);
  }

  async #thickness(input: ReadingInput): Promise<Evaluated | NotMeasured> {
    const [a, b] = input.points_um as [PointUm, PointUm];
    const z = a[2];
    const layer = this.#host.layers.layers.find((one) => one.bottom_um <= z && z <= one.top_um) ?? null;
    const room = layer ? Math.max(ROOM_UM, ROOM_SHARE * (layer.top_um - layer.bottom_um)) : LOOK_UM;
    const columns = await this.#columns.columns(
      [
        [a[0], a[1]],
        [b[0], b[1]],
      ],
      (layer?.bottom_um ?? z) - room,
      (layer?.top_um ?? z) + room,
    );
    const { blurUm, resolutionUm, relative } = this.#known.depth;
    return thicknessAt({
      ...{ columns, zUm: z, blur: blurUm, resolutionUm, relative, span: layer },
      nominalUm: layer ? layer.nominal_top_um - layer.nominal_bottom_um : null,
    });
  }
}
