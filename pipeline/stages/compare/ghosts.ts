/** Differences that are only the halo of a stronger one in another layer. */

import type { Difference, Field } from './box-fit.ts';
import { grow, meet } from './canvas.ts';
import { COUPLING_REACH, couplingKernel, type Evidence } from './evidence.ts';
import type { LayerFit } from './fit-layers.ts';

export interface LayerDifferences {
  readonly number: number;
  readonly field: Field;
  readonly fit: LayerFit;
  readonly noise: Evidence['noise'];
  readonly found: readonly Difference[];
  /** Differences that physics forbids: they may be halos, and cast none. */
  readonly decoys: readonly Difference[];
}

/** Share of a difference's evidence that must be its own. */
const OWN_SHARE = 0.55;
/** How well it is known what another layer adds: what is left must be more than this share of it. */
const GHOST_DOUBT = 0.25;

/**
 * A halo is no box: what is fitted beside one, as close as this, is more of it, unless nearly as much metal is left there as
 * metal makes.
 */
const BESIDE_PX = 2;
const OF_ITS_OWN = 0.6;

interface Candidate {
  readonly layer: LayerDifferences;
  readonly d: Difference;
  readonly decoy: boolean;
  /** Amplitude less what stronger differences explain. */
  left: number;
  /** Sum of what they explain. */
  shown: number;
  /** Evidence by the noise alone, however far the model may be off there: what casts a halo outweighs the halo. */
  readonly strength: number;
}

export interface WithoutGhosts {
  readonly found: Difference[];
  readonly decoys: Difference[];
}

/** For each layer, the differences and decoys that stronger differences elsewhere do not explain. */
export function withoutGhosts(layers: readonly LayerDifferences[]): WithoutGhosts[] {
  const candidate =
    (layer: LayerDifferences, decoy: boolean) =>
    (d: Difference): Candidate => ({
      ...{ layer, d, decoy, left: d.amplitude, shown: 0 },
      strength: d.z / Math.max(meanTrust(layer.field, d), 1e-6),
    });
  const all = layers
    .flatMap((layer) => [
      ...layer.found.map(candidate(layer, false)),
      ...layer.decoys.map(candidate(layer, true)),
    ])
    .sort((a, b) => b.strength - a.strength);
  const kernels = new Map<string, Float32Array>();
  const cross = (target: LayerDifferences, source: LayerDifferences): Float32Array | null => {
    const kernel = target.fit.kernels.get(source.number);
    if (!kernel) return null;
    const key = `${target.number} ${source.number}`;
    let known = kernels.get(key);
    if (!known) {
      known = couplingKernel(target.fit.kernels.get(target.number)!, target.noise, kernel);
      kernels.set(key, known);
    }
    return known;
  };
  const kept = layers.map((): WithoutGhosts => ({ found: [], decoys: [] }));
  const ghosts: Candidate[] = [];
  for (const candidate of all) {
    const { layer, d, decoy, left, shown, strength } = candidate;
    const beside = left < OF_ITS_OWN && ghosts.some((ghost) => isBeside(candidate, ghost));
    if (beside || left < OWN_SHARE * d.amplitude || left < GHOST_DOUBT * shown) {
      ghosts.push(candidate);
      continue;
    }
    const own = kept[layers.indexOf(layer)]!;
    (decoy ? own.decoys : own.found).push(d);
    if (decoy) continue;
    for (const other of all) {
      if (other.layer === layer || other.strength >= strength || !meet(grow(d, COUPLING_REACH), other.d))
        continue;
      const kernel = cross(other.layer, layer);
      if (!kernel) continue;
      const evidence =
        d.sign * Math.min(d.amplitude, 1) * between(other.layer.field, other.d, layer.field, d, kernel);
      // In amplitudes of the other difference: its evidence is amplitude / variance.
      const share = evidence * other.d.amplitudeSd ** 2;
      other.left -= other.d.sign * share;
      other.shown += Math.abs(share);
    }
  }
  return kept;
}

const isBeside = ({ layer, d }: Candidate, ghost: Candidate): boolean =>
  ghost.layer === layer &&
  ghost.d.ground === d.ground &&
  ghost.d.sign === d.sign &&
  meet(grow(ghost.d, BESIDE_PX), d);

function meanTrust({ trust, width }: Field, d: Difference): number {
  let sum = 0;
  for (let y = d.y0; y < d.y1; y++) for (let x = d.x0; x < d.x1; x++) sum += trust[y * width + x]!;
  return sum / ((d.x1 - d.x0) * (d.y1 - d.y0));
}

/** What metal at `b` of another layer means to the evidence for metal at `a`. */
function between(fieldA: Field, a: Difference, fieldB: Field, b: Difference, cross: Float32Array): number {
  const reach = COUPLING_REACH;
  const side = 2 * reach + 1;
  const { trust, width } = fieldA;
  let sum = 0;
  for (let y = a.y0; y < a.y1; y++)
    for (let x = a.x0; x < a.x1; x++) {
      const w = ground(fieldA, a, y * width + x) * trust[y * width + x]!;
      if (w === 0) continue;
      for (let v = Math.max(b.y0, y - reach); v < Math.min(b.y1, y + reach + 1); v++)
        for (let u = Math.max(b.x0, x - reach); u < Math.min(b.x1, x + reach + 1); u++)
          sum +=
            w *
            ground(fieldB, b, v * width + u) *
            trust[v * width + u]! *
            cross[(v - y + reach) * side + u - x + reach]!;
    }
  return sum;
}

const ground = (field: Field, d: Difference, n: number): number =>
  field.judged[n] === 0 ? 0 : d.ground === 'metal' ? field.drawn[n]! : 1 - field.known[n]!;
