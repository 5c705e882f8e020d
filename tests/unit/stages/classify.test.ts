/** What missing metal means: an open where a conductor is parted, a missing shape where it or its end is gone. */
import { expect, test } from 'vitest';
import { classifyLayer } from '../../../pipeline/stages/compare/classify.ts';

const SIZE = 160;

type Box = readonly [number, number, number, number];

/** A drawn layer of boxes in pixels, and metal found missing in one box. */
function kindOf(drawn: readonly Box[], gone: Box): string {
  const cover = new Float32Array(SIZE * SIZE);
  for (const [x0, y0, x1, y1] of drawn)
    for (let y = y0; y < y1; y++) cover.fill(1, y * SIZE + x0, y * SIZE + x1);
  const [x0, y0, x1, y1] = gone;
  const difference = {
    ...{ x0, y0, x1, y1 },
    ground: 'metal',
    sign: -1,
    z: 20,
    amplitude: 1,
    amplitudeSd: 0.05,
    areaPx: (x1 - x0) * (y1 - y0),
  };
  const field = { width: SIZE, height: SIZE, drawn: cover, known: new Float32Array(SIZE * SIZE) };
  const context = { role: 'conductor', field, conductors: null, vias: [], widthPx: 6 };
  const [found, ...more] = classifyLayer([difference as never], context as never);
  expect(more).toEqual([]);
  return found!.kind;
}

// What the words mean: common practice, no source.
test.each<[string, Box[], Box, string]>([
  ['a wire cut where it runs out of the field', [[0, 50, 160, 56]], [70, 49, 78, 57], 'open'],
  ['a short wire cut in its middle, no via on it', [[50, 50, 100, 56]], [71, 49, 79, 57], 'open'],
  ['a short wire whose end is gone', [[50, 50, 100, 56]], [90, 49, 101, 57], 'missing-shape'],
  ['a short wire that is gone', [[50, 50, 80, 56]], [50, 50, 80, 56], 'missing-shape'],
  ['a wire that lost half of its width for a stretch', [[0, 50, 160, 60]], [70, 49, 90, 54], 'narrow'],
  ['a short upright wire cut in its middle', [[50, 40, 56, 100]], [49, 66, 57, 76], 'open'],
])('%s', (_, drawn, gone, kind) => {
  expect(kindOf(drawn, gone)).toBe(kind);
});
