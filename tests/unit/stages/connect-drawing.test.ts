/** Drawn nets: hand-drawn layouts whose nets are known by hand, and random ones against a flood fill. */
import { describe, expect, it } from 'vitest';
import { L, netsOf, spelled } from '../../fixtures/nets/draw-layout.ts';
import { cellOf, JOINS, randomDrawing, UPWARD } from '../../fixtures/nets/random-drawing.ts';
import { flood, rasterise } from '../../oracles/net-flood.ts';

describe('what joins', () => {
  it('one layer by an edge or by area, not by a corner', async () => {
    const drawn = await netsOf({
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 1000, 200],
        [L.metal1, 1000, 0, 1200, 800],
        [L.metal1, 1200, 800, 2000, 1000],
        [L.metal1, 1500, 900, 1700, 2000],
        [L.metal2, 0, 0, 1000, 200],
      ],
    });
    expect(spelled(drawn)).toEqual([
      ['metal1 0 0 1000 200', 'metal1 1000 0 1200 800'],
      ['metal1 1200 800 2000 1000', 'metal1 1500 900 1700 2000'],
      ['metal2 0 0 1000 200'],
    ]);
  });

  it('a via with the conductors next below and above, where areas overlap', async () => {
    const drawn = await netsOf({
      name: 'TOP',
      boxes: [
        [L.poly, 0, 0, 400, 400],
        [L.contact, 100, 100, 300, 300],
        [L.metal1, 0, 0, 400, 400],
        [L.via1, 100, 100, 300, 300],
        [L.metal2, 0, 0, 400, 400],
        // Above metal 2, but no via 2 between.
        [L.metal3, 0, 0, 400, 400],
        // Abuts metal 2 without lying on it.
        [L.via1, 400, 0, 600, 200],
      ],
    });
    expect(spelled(drawn)).toEqual([
      [
        'poly 0 0 400 400',
        'contact 100 100 300 300',
        'metal1 0 0 400 400',
        'via1 100 100 300 300',
        'metal2 0 0 400 400',
      ],
      ['via1 400 0 600 200'],
      ['metal3 0 0 400 400'],
    ]);
  });

  it('slanting shapes on their outlines, not on their boxes', async () => {
    const drawn = await netsOf({
      name: 'TOP',
      rings: [
        [L.metal1, 0, 0, 200, 0, 1000, 800, 1000, 1000],
        [L.metal1, 700, 0, 1000, 0, 1000, 300],
        [L.metal1, 0, 300, 700, 1000, 0, 1000],
      ],
      boxes: [[L.metal1, 990, 990, 1200, 1200]],
    });
    expect(drawn.nets.map((net) => net.shapes.length).sort()).toEqual([1, 1, 2]);
  });

  it('a cell turned by an odd angle to one turned likewise beside it', async () => {
    const half = { name: 'HALF', boxes: [[L.metal1, 0, 0, 1000, 200]] as const };
    const far = 1000 * Math.SQRT1_2;
    const drawn = await netsOf([
      half,
      {
        name: 'TOP',
        references: [
          ['HALF', 0, 0, 45],
          ['HALF', Math.round(far), Math.round(far), 45],
          ['HALF', 0, 400, 45],
        ],
      },
    ]);
    expect(drawn.nets.map((net) => net.shapes.length)).toEqual([2, 1]);
  });

  it('nothing that is fill or withheld', async () => {
    const cell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 100, 100],
        [L.metal2, 0, 0, 100, 100],
      ] as const,
    };
    expect((await netsOf(cell, undefined, { drawn: new Set(['3/0']) })).nets).toHaveLength(1);
    const inner = { ...cell, name: 'SECRET' };
    const top = { name: 'TOP', references: [['SECRET', 0, 0]] as const };
    expect((await netsOf([inner, top])).nets).toHaveLength(2);
    expect((await netsOf([inner, top], undefined, { opens: (name) => name !== 'SECRET' })).nets).toEqual([]);
  });

  it('what lies in or touches the window, each shape whole', async () => {
    const drawn = await netsOf(
      {
        name: 'TOP',
        boxes: [
          [L.metal1, -5000, 0, 0, 200],
          [L.metal1, 900, 0, 5000, 200],
          [L.metal1, 1100, 500, 1200, 600],
        ],
      },
      [0, 0, 1, 1],
    );
    expect(spelled(drawn)).toEqual([['metal1 -5000 0 0 200'], ['metal1 900 0 5000 200']]);
  });
});

describe('random drawings', () => {
  it('fall into the nets that a flood fill finds', async () => {
    const side = 40;
    for (let seed = 1; seed <= 40; seed++) {
      const shapes = randomDrawing(seed, side, 30 + 4 * seed);
      const drawn = await netsOf(cellOf(shapes));
      const nets = flood(rasterise(shapes, UPWARD.length, side), JOINS, side);
      const pairs = new Set<string>();
      drawn.netOf.forEach((net, n) => {
        const layer = drawn.store.layers.findLastIndex((_, l) => drawn.store.layerStarts[l]! <= n);
        // Every shape here covers the unit square at its lower left corner.
        const [x, y] = drawn.store.boxes.subarray(4 * n, 4 * n + 2);
        pairs.add(`${net} ${nets[layer]![y! * side + x!]}`);
      });
      const flooded = new Set(nets.flatMap((net) => [...net]).filter((net) => net >= 0));
      expect(pairs.size, `seed ${seed}`).toBe(drawn.nets.length);
      expect(new Set([...pairs].map((pair) => pair.split(' ')[1])).size, `seed ${seed}`).toBe(flooded.size);
      expect(drawn.nets.length).toBe(flooded.size);
    }
  });

  it('number their nets alike however the file is ordered', async () => {
    const shapes = randomDrawing(3, 40, 120);
    const there = await netsOf(cellOf(shapes));
    const back = await netsOf(cellOf([...shapes].reverse()));
    expect(spelled(back)).toEqual(spelled(there));
    expect(back.nets.map(({ id, name }) => [id, name])).toEqual(there.nets.map(({ id, name }) => [id, name]));
    expect(there.nets.length).toBeGreaterThan(5);
  });
});

describe('the lookup by place', () => {
  it('gives the nets on a layer whose shapes meet a box, by outline', async () => {
    const drawn = await netsOf({
      name: 'TOP',
      rings: [[L.metal1, 0, 0, 3000, 0, 3000, 200, 200, 200, 200, 3000, 0, 3000]],
      boxes: [[L.metal1, 1000, 1000, 2000, 2000]],
      labels: [
        ['elbow', L.metal1, 100, 100],
        ['pad', L.metal1, 1500, 1500],
      ],
    });
    expect(drawn.netsAt('metal1', [1.2, 1.2, 1.3, 1.3])).toEqual(['pad']);
    expect(drawn.netsAt('metal1', [0.1, 0.1, 1.1, 1.1])).toEqual(['elbow', 'pad']);
    expect(drawn.netsAt('metal1', [0.3, 0.3, 0.9, 0.9])).toEqual([]);
    expect(drawn.netsAt('metal1', [0.1, 0.1, 0.1, 0.1])).toEqual(['elbow']);
    expect(drawn.netsAt('metal2', [0, 0, 3, 3])).toEqual([]);
    expect(drawn.netsAt('metal9', [0, 0, 3, 3])).toEqual([]);
  });
});
