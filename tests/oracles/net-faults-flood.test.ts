/** Opens after removing vias or cutting wires, against a flood fill of the drawing without them. */
import { describe, expect, it } from 'vitest';
import { faultsFromFindings } from '../../pipeline/stages/connect/faults-from-findings.ts';
import { netsOf } from '../fixtures/nets/draw-layout.ts';
import { finding } from '../fixtures/nets/finding.ts';
import {
  cellOf,
  JOINS,
  type RandomShape,
  randomDrawing,
  trackDrawing,
  UPWARD,
} from '../fixtures/nets/random-drawing.ts';
import { generator } from '../fixtures/random.ts';
import { flood, rasterise } from './net-flood.ts';

const NAMES = ['poly', 'contact', 'metal1', 'via1', 'metal2', 'via2', 'metal3'];
const SIDE = 36;
/** Database units per square, where cuts must not round to squares. */
const UNIT = 100;

const boxOf = (ring: readonly number[]) => {
  const xs = ring.filter((_, n) => n % 2 === 0);
  const ys = ring.filter((_, n) => n % 2 === 1);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)] as const;
};

/** For every net of `before`, the nets of `after` on its squares. */
function pieces(before: Int32Array[], after: Int32Array[]): Map<number, Set<number>> {
  const found = new Map<number, Set<number>>();
  before.forEach((nets, layer) => {
    nets.forEach((net, at) => {
      if (net < 0) return;
      const set = found.get(net) ?? new Set();
      if (after[layer]![at]! >= 0) set.add(after[layer]![at]!);
      found.set(net, set);
    });
  });
  return found;
}

describe('opens against a flood fill', () => {
  it('agree for every via removed by itself and for all vias of a layer together', async () => {
    let opened = 0;
    let kept = 0;
    for (let seed = 1; seed <= 8; seed++) {
      const shapes = apart(randomDrawing(seed, SIDE, 90));
      const drawn = await netsOf(cellOf(shapes));
      const before = flood(rasterise(shapes, UPWARD.length, SIDE), JOINS, SIDE);
      const vias = shapes.filter((shape) => shape.layer % 2 === 1);
      for (const gone of [...vias.map((shape) => [shape]), vias.filter((shape) => shape.layer === 3)]) {
        const rest = shapes.filter((shape) => !gone.includes(shape));
        const after = pieces(before, flood(rasterise(rest, UPWARD.length, SIDE), JOINS, SIDE));
        const expected = [...after.values()].filter((set) => set.size >= 2).length;
        const found = gone.map((shape) => finding('missing-via', NAMES[shape.layer]!, boxOf(shape.ring), 1));
        // Beyond six findings on a net, the odds are an estimate; whether there is an open is not.
        expect(faultsFromFindings(drawn, found).opens.length, `seed ${seed}`).toBe(expected);
        if (expected > 0) opened++;
        else kept++;
      }
    }
    expect(opened).toBeGreaterThan(10);
    expect(kept).toBeGreaterThan(20);
  });

  it('agree for wires cut through', async () => {
    let opened = 0;
    let kept = 0;
    for (let seed = 21; seed <= 26; seed++) {
      const random = generator(seed);
      const shapes = trackDrawing(seed, SIDE);
      const drawn = await netsOf(cellOf(shapes, UNIT));
      const rasters = rasterise(shapes, UPWARD.length, SIDE);
      const before = flood(rasters, JOINS, SIDE);
      for (const shape of shapes.filter((s) => s.layer % 2 === 0 && s.ring.length === 8)) {
        const [x0, y0, x1, y1] = boxOf(shape.ring);
        const level = x1 - x0 > y1 - y0;
        const [from, to, width] = level ? [x0, x1, y1 - y0] : [y0, y1, x1 - x0];
        if (to - from < 3 * width + 3 || !alone(shape, shapes)) continue;
        // What is left at either end is longer than the cut, so that it is no stub.
        const at = from + width + 1 + Math.floor(random() * (to - from - 3 * width - 2));
        const cut = level ? ([at, y0, at + width, y1] as const) : ([x0, at, x1, at + width] as const);
        const without = rasters.map((raster) => raster.slice());
        for (let y = cut[1]; y < cut[3]; y++) {
          for (let x = cut[0]; x < cut[2]; x++) without[shape.layer]![y * SIDE + x] = 0;
        }
        const net = before[shape.layer]![y0 * SIDE + x0]!;
        const after = flood(without, JOINS, SIDE);
        const parts = pieces(before, after).get(net)!;
        const expected = parts.size >= 2;
        const [cx0, cy0, cx1, cy1] = cut.map((v) => v * UNIT) as [number, number, number, number];
        const broken = finding('open', NAMES[shape.layer]!, [cx0, cy0, cx1, cy1], 1);
        const { opens } = faultsFromFindings(drawn, [broken]);
        expect(opens.length, `seed ${seed}, ${NAMES[shape.layer]} ${cut}`).toBe(expected ? 1 : 0);
        if (expected) opened++;
        else kept++;
      }
    }
    expect(opened).toBeGreaterThan(20);
    expect(kept).toBeGreaterThan(20);
  });
});

/** Drops vias that overlap or touch another via of their layer: which of them a finding means could not be told. */
function apart(shapes: readonly RandomShape[]): RandomShape[] {
  const kept: RandomShape[] = [];
  for (const shape of shapes) {
    if (shape.layer % 2 === 0 || alone(shape, kept)) kept.push(shape);
  }
  return kept;
}

/** Whether no other shape of the layer overlaps or touches a shape's box. */
function alone(shape: RandomShape, shapes: readonly RandomShape[]): boolean {
  const a = boxOf(shape.ring);
  return shapes.every((other) => {
    if (other === shape || other.layer !== shape.layer) return true;
    const b = boxOf(other.ring);
    return a[2] < b[0] || b[2] < a[0] || a[3] < b[1] || b[3] < a[1];
  });
}
