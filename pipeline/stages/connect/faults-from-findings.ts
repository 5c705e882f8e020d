/** Opens and shorts: the drawn connections with the findings applied. */
import type { Nets } from '../../../shared/artefacts/nets.ts';
import { type Box, isEmptyBox } from '../../../shared/polygon.ts';
import type { DrawnNets } from './connect-drawing.ts';
import { type Effect, effectOf, type Finding } from './effects.ts';
import { BrokenNet, type NetPiece } from './net-pieces.ts';

type Open = Nets['opens'][number];
type Short = Nets['shorts'][number];

export interface FaultOptions {
  /** Whether a shape reaches out of the field the scan shows. */
  readonly leavesField?: (shape: number) => boolean;
  /**
   * The nets of the whole layout, asked when two parts that the window separates may be joined outside; null where that
   * is too large to follow.
   */
  readonly whole?: DrawnNets | null;
}

/**
 * Opens and shorts follow from the findings and from nothing else. Missing vias and missing or broken metal are taken
 * out of the drawn connections, bridges and extra vias are put in; a net that then falls into pieces is open, two nets
 * that then hang together are shorted. A double via or another way round keeps a net whole, so that not every finding
 * is a fault.
 *
 * The probability of an open is that of all sets of findings on the net that part it, each finding holding with its own
 * probability and independently of the others; that of a short is that at least one of its bridges holds.
 */
export function faultsFromFindings(
  drawn: DrawnNets,
  findings: readonly Finding[],
  options: FaultOptions = {},
): { opens: Open[]; shorts: Short[] } {
  const effects = findings.flatMap((finding) => effectOf(drawn, finding) ?? []);
  return { opens: findOpens(drawn, effects, options), shorts: findShorts(drawn, effects, options) };
}

function findOpens(drawn: DrawnNets, effects: readonly Effect[], options: FaultOptions): Open[] {
  const byNet = new Map<number, Effect[]>();
  for (const effect of effects) {
    const net = effect.kind === 'bridge' ? netOfBridge(drawn, effect) : effect.net;
    if (net !== null) byNet.set(net, [...(byNet.get(net) ?? []), effect]);
  }
  return [...byNet]
    .sort((a, b) => a[0] - b[0])
    .flatMap(([net, own]) => openOf(drawn, net, own, options) ?? []);
}

/** A bridge inside one net can only help it to hang together. */
const netOfBridge = (drawn: DrawnNets, effect: Effect & { kind: 'bridge' }): number | null => {
  const [a, b] = effect.shapes.map((shape) => drawn.netOf[shape]!);
  return a === b ? a! : null;
};

function openOf(
  drawn: DrawnNets,
  net: number,
  effects: readonly Effect[],
  options: FaultOptions,
): Open | null {
  const leaves = options.leavesField ?? (() => false);
  const breaking = effects.filter((effect) => effect.kind !== 'bridge');
  if (breaking.length === 0) return null;
  const broken = new BrokenNet(drawn, net, effects, leaves);
  const parts = (some: readonly Effect[]) => broken.pieces(some);
  const pieces = parts(effects);
  if (pieces.length < 2) return null;
  const { probability, guilty } = partingOdds(effects, (some) => parts(some).length >= 2);
  if (guilty.length === 0) return null;
  let mayJoin = pieces.filter((piece) => piece.leavesWindow).length >= 2;
  const wide = mayJoin ? (options.whole ?? null) : null;
  if (wide) {
    const outside = faultsFromFindings(
      wide,
      effects.map((effect) => effect.finding),
    ).opens;
    if (outside.length === 0) return null;
    mayJoin = outside.some((open) => open.may_join_outside);
  }
  const { name, id } = drawn.nets[net]!;
  return {
    nets: [name],
    net_ids: [id],
    places: guilty.map(placeOf),
    probability,
    pieces: pieces.filter(({ box }) => !isEmptyBox(box)).map((piece) => described(drawn, piece)),
    may_join_outside: mayJoin,
    note: `"${name}" falls into ${pieces.length} pieces on ${listed(guilty.map((e) => e.finding.layer))}${
      mayJoin ? ', unless they are joined outside the field' : ''
    }.`,
  };
}

/** So many findings on one net are taken in every combination; beyond, each by itself and all together. */
const COMBINED = 6;

/**
 * Odds that the effects which hold part the net, and the effects that have a part in it: those that take something away
 * in a combination that parts the net and would not without them.
 */
function partingOdds(
  effects: readonly Effect[],
  parts: (some: readonly Effect[]) => boolean,
): { probability: number; guilty: Effect[] } {
  const guilty = new Set<Effect>();
  if (effects.length > COMBINED) {
    const alone = effects.filter((effect) => effect.kind !== 'bridge' && parts([effect]));
    const breaking = effects.filter((effect) => effect.kind !== 'bridge');
    const chosen = alone.length > 0 ? alone : breaking;
    const all = chosen.map((effect) => effect.finding.probability);
    const probability =
      alone.length > 0 ? 1 - all.reduce((p, q) => p * (1 - q), 1) : all.reduce((p, q) => p * q, 1);
    return { probability, guilty: chosen };
  }
  const parting = Array.from({ length: 2 ** effects.length }, (_, set) =>
    parts(effects.filter((_, n) => (set >> n) & 1)),
  );
  let probability = 0;
  parting.forEach((parted, set) => {
    if (!parted) return;
    let odds = 1;
    effects.forEach((effect, n) => {
      const holds = ((set >> n) & 1) === 1;
      odds *= holds ? effect.finding.probability : 1 - effect.finding.probability;
      if (holds && effect.kind !== 'bridge' && !parting[set - 2 ** n]) guilty.add(effect);
    });
    probability += odds;
  });
  return { probability: Math.min(1, probability), guilty: effects.filter((effect) => guilty.has(effect)) };
}

function findShorts(drawn: DrawnNets, effects: readonly Effect[], options: FaultOptions): Short[] {
  const pairs = new Map<string, { nets: [number, number]; effects: Effect[]; mayJoin: boolean }>();
  for (const effect of effects) {
    if (effect.kind !== 'bridge') continue;
    const nets = effect.shapes.map((shape) => drawn.netOf[shape]!).sort((a, b) => a - b) as [number, number];
    if (nets[0] === nets[1]) continue;
    const known = pairs.get(nets.join());
    if (known) {
      known.effects.push(effect);
      continue;
    }
    const joined = joinedOutside(drawn, nets, effect, options);
    if (joined !== 'yes') pairs.set(nets.join(), { nets, effects: [effect], mayJoin: joined === 'unknown' });
  }
  return [...pairs.values()]
    .sort((a, b) => a.nets[0] - b.nets[0] || a.nets[1] - b.nets[1])
    .map(({ nets, effects: own, mayJoin }) => {
      const names = nets.map((net) => drawn.nets[net]!.name);
      return {
        nets: names,
        net_ids: nets.map((net) => drawn.nets[net]!.id),
        places: own.map(placeOf),
        probability: 1 - own.reduce((p, effect) => p * (1 - effect.finding.probability), 1),
        may_join_outside: mayJoin,
        note: `"${names[0]}" and "${names[1]}" are joined on ${listed(own.map((e) => e.finding.layer))}${
          mayJoin ? ', unless they are one net outside the field' : ''
        }.`,
      };
    });
}

/** Whether two nets of the window are one net in the whole drawing. */
function joinedOutside(
  drawn: DrawnNets,
  nets: readonly [number, number],
  effect: Effect & { kind: 'bridge' },
  options: FaultOptions,
): 'yes' | 'no' | 'unknown' {
  const [a, b] = nets.map((net) => drawn.nets[net]!);
  if (!nets.every((net) => reachesOut(drawn, net))) return 'no';
  // Two nets with one label are one net by the word of the drawing, wherever they are joined.
  if (a!.from === 'label' && b!.from === 'label' && a!.name === b!.name) return 'yes';
  const wide = options.whole ?? null;
  if (!wide) return 'unknown';
  const outside = effectOf(wide, effect.finding);
  if (outside?.kind !== 'bridge') return 'unknown';
  const [p, q] = outside.shapes.map((shape) => wide.netOf[shape]!);
  if (p === q) return 'yes';
  return [p!, q!].every((net) => reachesOut(wide, net)) ? 'unknown' : 'no';
}

function reachesOut(drawn: DrawnNets, net: number): boolean {
  const { store, windowUm } = drawn;
  return drawn.nets[net]!.shapes.some((n) =>
    [0, 1, 2, 3].some((k) => {
      const um = store.boxes[4 * n + k]! * store.unitUm;
      return k < 2 ? um < windowUm[k]! : um > windowUm[k]!;
    }),
  );
}

const placeOf = ({ finding }: Effect): Short['places'][number] => ({
  layer: finding.layer,
  centre_um: [...finding.centre_um],
  box_um: [...finding.box_um],
  finding: finding.id,
});

function described(drawn: DrawnNets, piece: NetPiece): Open['pieces'][number] {
  const { store } = drawn;
  const um = (v: number) => Math.round(v * store.unitUm * 1e6) / 1e6;
  const box: Box = piece.box;
  return {
    box_um: [um(box[0]), um(box[1]), um(box[2]), um(box[3])],
    layers: [...piece.layers].sort((a, b) => a - b).map((layer) => store.layers[layer]!.name),
    shapes: piece.shapes,
    leaves_field: piece.leavesField,
  };
}

const listed = (layers: readonly string[]): string => [...new Set(layers)].join(', ');
