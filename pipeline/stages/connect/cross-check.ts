/** Image nets held against the drawn nets, and against the opens and shorts that the findings give. */
import type { NetSummary, Nets } from '../../../shared/artefacts/nets.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import type { Box } from '../../../shared/polygon.ts';
import { faultsFromFindings } from './faults-from-findings.ts';
import { imageNets } from './image-nets.ts';
import type { NetFaults } from './judge-nets.ts';
import type { TracedWindow } from './trace-window.ts';

export interface CrossCheck {
  /** By number of the drawn net. */
  readonly imaged: (net: number) => NetSummary['imaged'];
  readonly layers: Nets['image_check'];
  readonly doubts: readonly string[];
}

const SHOWN = 5;

/**
 * The findings decide; the image by itself only says where it disagrees. Which net is whole, parted or joined in the
 * image is told for every net that could be looked at.
 * @param portraitOf values of a layer on the grid, NaN where there is no data
 */
export function crossCheck(
  { drawn, whole }: TracedWindow,
  faults: NetFaults,
  grid: PlateGrid,
  portraitOf: (layer: string) => Float32Array | undefined,
): CrossCheck {
  const image = imageNets(drawn, grid, portraitOf);
  const own = faultsFromFindings(drawn, image.suggestions, { whole });
  const numbers = (list: readonly { net_ids: readonly string[] }[]) =>
    new Set(list.flatMap(({ net_ids: ids }) => ids.map((id) => Number(id.slice(1)) - 1)));
  const parted = numbers(own.opens);
  const joined = numbers(own.shorts);
  const doubts: string[] = [];
  if (faults.judged) {
    for (const kind of ['opens', 'shorts'] as const) {
      const said = new Set(faults[kind].map(({ net_ids: ids }) => ids.join()));
      const seen = new Set(own[kind].map(({ net_ids: ids }) => ids.join()));
      for (const fault of own[kind]) {
        if (!said.has(fault.net_ids.join())) doubts.push(unreported(kind, fault));
      }
      for (const fault of faults[kind]) {
        const looked = fault.places.some((place) =>
          image.probedAt(
            kind === 'shorts' ? 'bridge' : kindOf(drawn, place.layer),
            place.layer,
            boxOf(place),
          ),
        );
        if (looked && !seen.has(fault.net_ids.join())) doubts.push(unconfirmed(kind, fault));
      }
    }
  }
  const more = doubts.length - SHOWN;
  return {
    imaged: (net) =>
      parted.has(net) ? 'parted' : joined.has(net) ? 'joined' : image.seen.has(net) ? 'alike' : 'unjudged',
    layers: image.layers.map((layer) => ({
      ...layer,
      spread: Number.isFinite(layer.spread) ? layer.spread : null,
    })),
    doubts:
      more > 0
        ? [...doubts.slice(0, SHOWN), `${more} more places where wires followed in the image alone differ.`]
        : doubts,
  };
}

type Fault = Nets['shorts'][number];
type Place = Fault['places'][number];

const kindOf = (drawn: TracedWindow['drawn'], layer: string): 'open' | 'missing-via' =>
  drawn.store.layers.find(({ name }) => name === layer)?.role === 'via' ? 'missing-via' : 'open';

const boxOf = ({ box_um: box, centre_um: [x, y] }: Place): Box => box ?? [x, y, x, y];

const listed = (fault: Fault): string => fault.nets.map((name) => `"${name}"`).join(' and ');

function unreported(kind: 'opens' | 'shorts', fault: Fault): string {
  const { layer, centre_um: at } = fault.places[0]!;
  const what = kind === 'opens' ? 'broken' : 'joined';
  const are = kind === 'opens' ? 'is' : 'are';
  return (
    `Followed in the image alone, ${listed(fault)} ${are} ${what} on ${layer} at ` +
    `${at[0].toFixed(2)}, ${at[1].toFixed(2)} µm; the comparison with the drawing reports nothing there.`
  );
}

const unconfirmed = (kind: 'opens' | 'shorts', fault: Fault): string =>
  `The ${kind === 'opens' ? 'open' : 'short'} of ${listed(fault)} does not show where the wires are followed in the image alone.`;
