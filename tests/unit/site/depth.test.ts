import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { PlateLabel } from '../../../shared/artefacts/layers.ts';
import {
  heightDecimals,
  layerRuns,
  layersAtPlate,
  nearestPlate,
  nextLayerPlate,
  openingPlate,
  plateWords,
} from '../../../site/lib/depth.ts';
import * as facts from '../../fixtures/folio/facts.ts';

const label = (index: number, layer: string | null, between?: string[]): PlateLabel => ({
  index,
  z_um: index / 10,
  slice: index,
  layer,
  confidence: 1,
  ...(between ? { between } : {}),
});
/** a a - b b b - a: two runs of the same name, gaps between. */
const labels = ['a', 'a', null, 'b', 'b', 'b', null, 'a'].map((layer, n) =>
  layer === null ? label(n, null, ['a', 'b']) : label(n, layer),
);

describe('nearestPlate', () => {
  it('agrees with looking at every plate', () => {
    fc.assert(
      fc.property(
        fc.uniqueArray(fc.double({ min: -5, max: 20, noNaN: true }), { minLength: 1, maxLength: 60 }),
        fc.double({ min: -10, max: 30, noNaN: true }),
        (heights, z) => {
          const zUm = heights.sort((a, b) => a - b);
          const best = Math.min(...zUm.map((height) => Math.abs(height - z)));
          expect(Math.abs(zUm[nearestPlate(zUm, z)]! - z)).toBe(best);
        },
      ),
      { seed: 41, numRuns: 400 },
    );
  });
});

describe('layers along the depth', () => {
  it('finds runs of plates, the same name twice included', () => {
    expect(layerRuns(labels)).toEqual([
      { name: 'a', first: 0, last: 1, middle: 0 },
      { name: 'b', first: 3, last: 5, middle: 4 },
      { name: 'a', first: 7, last: 7, middle: 7 },
    ]);
  });

  it.each([
    [0, 1, 4],
    [2, 1, 4],
    [2, -1, 0],
    [4, 1, 7],
    [4, -1, 0],
    [7, 1, 7],
    [1, -1, 1],
  ] as const)('from plate %i in direction %i the next layer is at plate %i', (from, direction, to) => {
    expect(nextLayerPlate(labels, from, direction)).toBe(to);
  });

  it('reaches every run from the lowest plate by going up', () => {
    const all = facts.fine.zUm.map((z, index) => facts.plateLabel(z, index));
    const met: string[] = [];
    let index = 0;
    for (let n = 0; n < 20; n++) {
      const next = nextLayerPlate(all, index, 1);
      if (next === index) break;
      index = next;
      met.push(all[index]!.layer!);
    }
    expect(met).toEqual(['poly', 'contact', 'metal1', 'via1', 'metal2', 'via2', 'metal3']);
  });

  it('takes the nearer neighbour first between layers', () => {
    const all = facts.fine.zUm.map((z, index) => facts.plateLabel(z, index));
    // 1.4 µm: metal1 ends at 1.35 (0.05 away), via1 begins at 1.45 (0.05 away); moved up, via1 is nearer.
    const moved = all.map((one) => (one.index === 6 ? { ...one, z_um: 1.43 } : one));
    expect(layersAtPlate(moved, [...facts.layerSpans], 6).map((one) => one.name)).toEqual(['via1', 'metal1']);
    expect(layersAtPlate(all, [...facts.layerSpans], 11)).toEqual([{ name: 'metal2', share: 1 }]);
  });

  it('opens on the best known conductor that was seen whole', () => {
    const plates = facts.fine.zUm.map((z, index) => facts.plateLabel(z, index));
    // metal2 has the confidence 0.99; its plates are 2.2, 2.4, 2.6 µm.
    expect(openingPlate({ version: 1, basis: 'measured', layers: [...facts.layerSpans], plates })).toBe(11);
    // Equally well known: poly, metal1 and metal2 are whole; half-way up is metal1, whose plates are 1.0 and 1.2 µm.
    const equal = facts.layerSpans.map((span) => ({ ...span, confidence: 1 }));
    expect(openingPlate({ version: 1, basis: 'nominal', layers: equal, plates })).toBe(4);
    expect(
      openingPlate({ version: 1, basis: 'none', layers: [], plates: [label(0, null), label(1, null)] }),
    ).toBe(1);
  });
});

describe('words', () => {
  it('names plate, layer and height', () => {
    expect(plateWords(label(57, 'metal2'), 57, 2.19, 3)).toBe('plate 57, metal2, z = 2.190 µm');
    expect(plateWords(label(2, null, ['a', 'b']), 2, 0.2, 2)).toBe('plate 2, between a and b, z = 0.20 µm');
    expect(plateWords(label(2, null), 2, -0.2, 2)).toBe('plate 2, z = \u22120.20 µm');
  });

  it.each([
    [0.2, 2],
    [0.02, 3],
    [0.011, 3],
    [0.004, 4],
    [1, 2],
    [5, 2],
  ])('a step of %f µm asks for %i decimals', (step, decimals) => expect(heightDecimals(step)).toBe(decimals));
});
