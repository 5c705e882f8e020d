/** What the panel says of a lit net: its numbers, its layers, its ends and its findings, each a way to go there. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import { plateOfLayer } from '../lib/finding-place.ts';
import { type Finding, kindName } from '../lib/finding-words.ts';
import { formatCount, formatFixed, formatLength } from '../lib/numbers.ts';
import type { LitNet, NetData } from './net-data.ts';

const ENDS_SHOWN = 40;
const END_WORDS = { end: 'end', field: 'leaves the field', label: 'label' };

export interface NetLevel {
  readonly name: string;
  readonly shapes: readonly (readonly number[])[];
}

export interface NetFacts {
  readonly index: NetData['index'];
  readonly layers: Layers;
  readonly findings: readonly Finding[];
  readonly toLayer: (name: string) => void;
  readonly toEnd: (layer: string, xUm: number, yUm: number) => void;
  readonly openFinding: (id: string) => void;
}

/** Layers of a net with its shapes on them, from the silicon up. */
export const netLevels = (net: LitNet, index: NetData['index']): NetLevel[] =>
  net.layers.map(({ layer, shapes }) => ({ name: index.layers[layer]!.name, shapes }));

export function writeNet(panel: HTMLElement, net: LitNet, facts: NetFacts): void {
  const at = (name: string): HTMLElement => panel.querySelector<HTMLElement>(`[data-n="${name}"]`)!;
  at('name').textContent = net.name;
  const others = net.names.filter((name) => name !== net.name);
  at('others').textContent = others.length > 0 ? `also labelled ${others.join(', ')}` : '';
  at('length').textContent = formatLength(net.length_um);
  at('vias').textContent = formatCount(net.vias);
  at('field').textContent = net.leaves_field
    ? 'leaves the field: it may go on outside'
    : 'ends inside the field';
  at('layers').replaceChildren(
    ...netLevels(net, facts.index)
      .toReversed()
      .map(({ name, shapes }) => {
        const seen = plateOfLayer(facts.layers, name) !== null;
        const count = `${formatCount(shapes.length)} ${shapes.length === 1 ? 'shape' : 'shapes'}`;
        const item = wayTo(name, `${count}${seen ? '' : ', not in this scan'}`, () => facts.toLayer(name));
        item.querySelector('button')!.dataset.layer = name;
        return item;
      }),
  );
  writeEnds(at('ends'), net, facts);
  const shown = Math.min(ENDS_SHOWN, net.ends.length);
  at('ends-count').textContent =
    net.ends_total > shown ? `${shown} of ${formatCount(net.ends_total)}` : formatCount(net.ends_total);
  at('findings').parentElement!.hidden = facts.findings.length === 0;
  at('findings').replaceChildren(
    ...facts.findings.slice(0, ENDS_SHOWN).map((finding) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.className = 'inline';
      button.textContent = `${finding.id} ${kindName(finding.kind)}`;
      button.addEventListener('click', () => facts.openFinding(finding.id));
      return button;
    }),
  );
}

function writeEnds(list: HTMLElement, net: LitNet, facts: NetFacts): void {
  const unit = facts.index.unit_um;
  list.replaceChildren(
    ...net.ends.slice(0, ENDS_SHOWN).map((end) => {
      const layer = facts.index.layers[end.layer]!.name;
      const [x, y] = [end.at[0] * unit, end.at[1] * unit];
      const words = end.text ? `${END_WORDS[end.kind]} “${end.text}”` : END_WORDS[end.kind];
      return wayTo(words, `${layer} at ${formatFixed(x, 2)}, ${formatFixed(y, 2)}`, () =>
        facts.toEnd(layer, x, y),
      );
    }),
  );
}

/** A line of a list that leads to a place. */
function wayTo(words: string, more: string, go: () => void): HTMLLIElement {
  const item = document.createElement('li');
  const button = document.createElement('button');
  button.type = 'button';
  const quiet = document.createElement('span');
  quiet.className = 'quiet';
  quiet.textContent = more;
  button.append(words, ' ', quiet);
  button.addEventListener('click', go);
  item.append(button);
  return item;
}
