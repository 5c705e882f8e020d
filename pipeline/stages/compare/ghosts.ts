/** Differences that are only the halo of a stronger one in another layer. */

import type { Difference, Field } from './box-fit.ts';
import { grow, meet, type PixelBox } from './canvas.ts';
import { COUPLING_REACH, couplingKernel, type Evidence } from './evidence.ts';
import type { LayerFit } from './fit-layers.ts';

export interface LayerDifferences {
  readonly number: number;
  readonly field: Field;
  readonly fit: LayerFit;
  readonly noise: Evidence['noise'];
  readonly found: readonly Difference[];
}

/** Share of a difference's evidence that must be its own. */
const OWN_SHARE = 0.55;

/** For each layer, the differences that stronger ones elsewhere do not explain. */
export function withoutGhosts(layers: readonly LayerDifferences[]): Difference[][] {
  const all = layers
    .flatMap((layer) => layer.found.map((d) => ({ layer, d, left: d.amplitude })))
    .sort((a, b) => b.d.z - a.d.z);
  const kernels = new Map<string, Float32Array>();
  const kept = layers.map((): Difference[] => []);
  for (const { layer, d, left } of all) {
    if (left < OWN_SHARE * d.amplitude) continue;
    kept[layers.indexOf(layer)]!.push(d);
    for (const other of all) {
      if (other.layer === layer || other.d.z >= d.z || !meet(grow(d, COUPLING_REACH), other.d)) continue;
      const kernel = other.layer.fit.kernels.get(layer.number);
      if (!kernel) continue;
      const key = `${other.layer.number} ${layer.number}`;
      let cross = kernels.get(key);
      if (!cross) {
        cross = couplingKernel(other.layer.fit.kernels.get(other.layer.number)!, other.layer.noise, kernel);
        kernels.set(key, cross);
      }
      const shown =
        d.sign * Math.min(d.amplitude, 1) * between(other.layer.field, other.d, layer.field, d, cross);
      const centre = trustAt(other.layer.field, other.d);
      // In amplitudes of the other difference: its evidence is amplitude / variance.
      other.left -= other.d.sign * shown * centre * other.d.amplitudeSd ** 2;
    }
  }
  return kept;
}

const trustAt = (field: Field, box: PixelBox): number =>
  field.trust[((box.y0 + box.y1) >> 1) * field.width + ((box.x0 + box.x1) >> 1)]!;

function between(fieldA: Field, a: Difference, fieldB: Field, b: Difference, cross: Float32Array): number {
  const reach = COUPLING_REACH;
  const side = 2 * reach + 1;
  let sum = 0;
  for (let y = a.y0; y < a.y1; y++)
    for (let x = a.x0; x < a.x1; x++) {
      const w = ground(fieldA, a, y * fieldA.width + x);
      if (w === 0) continue;
      for (let v = Math.max(b.y0, y - reach); v < Math.min(b.y1, y + reach + 1); v++)
        for (let u = Math.max(b.x0, x - reach); u < Math.min(b.x1, x + reach + 1); u++)
          sum += w * ground(fieldB, b, v * fieldB.width + u) * cross[(v - y + reach) * side + u - x + reach]!;
    }
  return sum;
}

const ground = (field: Field, d: Difference, n: number): number =>
  field.judged[n] === 0 ? 0 : d.ground === 'metal' ? field.drawn[n]! : 1 - field.known[n]!;
