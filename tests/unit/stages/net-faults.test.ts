/** Opens and shorts that follow from findings, on layouts small enough to see by eye. */
import { describe, expect, it } from 'vitest';
import { connectDrawing } from '../../../pipeline/stages/connect/connect-drawing.ts';
import { faultsFromFindings } from '../../../pipeline/stages/connect/faults-from-findings.ts';
import type { Box } from '../../../shared/polygon.ts';
import { type DrawnCell, drawLayout, L, METALS, netsOf, WIDE } from '../../fixtures/nets/draw-layout.ts';
import { finding } from '../../fixtures/nets/finding.ts';

type F = ReturnType<typeof finding>;
const via = (x: number, y: number, layer: number = L.via1) => [layer, x, y, x + 200, y + 200] as const;

const faults = async (cell: DrawnCell, findings: readonly F[], windowUm: Box = WIDE) =>
  faultsFromFindings(await netsOf(cell, windowUm), findings);

/** Two levels, joined by one via at each end of a bar. */
const link: DrawnCell = {
  name: 'TOP',
  boxes: [
    [L.metal1, 0, 0, 3000, 400],
    via(2700, 100),
    [L.metal2, 2600, 0, 8000, 400],
    via(7700, 100),
    [L.metal1, 7600, 0, 12_000, 400],
  ],
  labels: [['signal', L.metal1, 100, 100]],
};

describe('opens', () => {
  it('follow from a missing via', async () => {
    const { opens, shorts } = await faults(link, [
      finding('missing-via', 'via1', [2700, 100, 2900, 300], 0.8),
    ]);
    expect(shorts).toEqual([]);
    expect(opens).toHaveLength(1);
    expect(opens[0]).toMatchObject({ nets: ['signal'], net_ids: ['n1'], may_join_outside: false });
    expect(opens[0]!.probability).toBeCloseTo(0.8, 12);
    expect(opens[0]!.places).toMatchObject([{ layer: 'via1', centre_um: [2.8, 0.2] }]);
    expect(opens[0]!.pieces.map((piece) => piece.shapes)).toEqual([3, 1]);
    expect(opens[0]!.note).toBe('"signal" falls into 2 pieces on via1.');
  });

  it('do not follow where a second via is beside it, unless both are gone', async () => {
    const double = {
      ...link,
      boxes: [...link.boxes!, via(2700, 350), [L.metal1, 2600, 0, 3000, 700], [L.metal2, 2600, 0, 3000, 700]],
    } as DrawnCell;
    const first = finding('missing-via', 'via1', [2700, 100, 2900, 300], 0.8);
    const second = finding('missing-via', 'via1', [2700, 350, 2900, 550], 0.5);
    expect((await faults(double, [first])).opens).toEqual([]);
    const both = (await faults(double, [first, second])).opens;
    expect(both).toHaveLength(1);
    // Both must hold: 0.8 x 0.5.
    expect(both[0]!.probability).toBeCloseTo(0.4, 12);
    expect(both[0]!.places).toHaveLength(2);
  });

  it('are as likely as one of two places that part the net each by itself', async () => {
    const { opens } = await faults(link, [
      finding('missing-via', 'via1', [2700, 100, 2900, 300], 0.8),
      finding('open', 'metal2', [5000, 50, 5400, 350], 0.5),
    ]);
    expect(opens).toHaveLength(1);
    // 1 - 0.2 x 0.5.
    expect(opens[0]!.probability).toBeCloseTo(0.9, 12);
    expect(opens[0]!.pieces).toHaveLength(3);
  });

  it('follow from a break whose box is narrower than the wire', async () => {
    const { opens } = await faults(link, [finding('open', 'metal2', [5000, 120, 5400, 280])]);
    expect(opens.map((open) => open.places[0]!.layer)).toEqual(['metal2']);
    expect(opens[0]!.pieces.map((piece) => piece.layers)).toEqual([
      ['metal1', 'via1', 'metal2'],
      ['metal1', 'via1', 'metal2'],
    ]);
  });

  it('do not follow from a nick, nor from anything beside the wire', async () => {
    const nick = finding('missing-shape', 'metal2', [5000, 250, 5400, 500]);
    const beside = finding('open', 'metal2', [5000, 600, 5400, 900]);
    expect((await faults(link, [nick, beside])).opens).toEqual([]);
  });

  it('follow from missing metal that reaches across most of the wire', async () => {
    expect(
      (await faults(link, [finding('missing-shape', 'metal2', [5000, 50, 5400, 500])])).opens,
    ).toHaveLength(1);
  });

  it('take away what lies on missing metal: a pad between two vias', async () => {
    const stack: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 3000, 400],
        via(2700, 100),
        [L.metal2, 2600, 0, 3000, 400],
        via(2700, 100, L.via2),
        [L.metal3, 2600, 0, 9000, 400],
      ],
    };
    const { opens } = await faults(stack, [finding('missing-shape', 'metal2', [2610, 10, 2990, 390])]);
    expect(opens).toHaveLength(1);
    expect(opens[0]!.pieces.map((piece) => piece.layers.join())).toEqual(['metal1,via1', 'via2,metal3']);
  });

  it('do not follow in a ring, but from two breaks of it', async () => {
    const ring: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 5000, 300],
        [L.metal1, 4700, 0, 5000, 5000],
        [L.metal1, 0, 4700, 5000, 5000],
        [L.metal1, 0, 0, 300, 5000],
      ],
    };
    const low = finding('open', 'metal1', [2000, 0, 2500, 300]);
    const high = finding('open', 'metal1', [2000, 4700, 2500, 5000]);
    expect((await faults(ring, [low])).opens).toEqual([]);
    expect((await faults(ring, [low, high])).opens).toHaveLength(1);
  });

  it('cut a wire drawn as one polygon with a branch only through the wire', async () => {
    // A bar along x with a branch up from its middle; the break is right of the branch.
    const tee: DrawnCell = {
      name: 'TOP',
      rings: [[L.metal1, 0, 0, 9000, 0, 9000, 300, 4300, 300, 4300, 9000, 4000, 9000, 4000, 300, 0, 300]],
    };
    const { opens } = await faults(tee, [finding('open', 'metal1', [6000, 0, 6500, 300])]);
    expect(opens).toHaveLength(1);
    expect(opens[0]!.pieces.map(({ box_um }) => box_um)).toContainEqual([6.5, 0, 9, 0.3]);
    // At the branch itself only as far as the box is long: the upper part of the branch hangs on to nothing else.
    const at = await faults(tee, [finding('open', 'metal1', [3900, 0, 4400, 300])]);
    expect(at.opens[0]!.pieces).toHaveLength(3);
  });

  it('do not count the stub that is left where a wire ends short', async () => {
    const short = finding('open', 'metal1', [100, 0, 600, 400]);
    const { opens } = await faults({ ...link, labels: [] }, [short]);
    expect(opens).toEqual([]);
    // With a label on it the stub is a pin of the net.
    const named = await faults({ ...link, labels: [['pin', L.metal1, 50, 100]] }, [short]);
    expect(named.opens).toHaveLength(1);
  });

  it('cut slanting wires across', async () => {
    const slant: DrawnCell = { name: 'TOP', rings: [[L.metal1, 0, 0, 300, 0, 6300, 6000, 6000, 6000]] };
    const { opens } = await faults(slant, [finding('open', 'metal1', [2900, 2900, 3400, 3400])]);
    expect(opens).toHaveLength(1);
    expect(opens[0]!.pieces).toHaveLength(2);
  });

  it('spare a neighbour that the box grazes', async () => {
    const pair: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 9000, 200],
        [L.metal1, 0, 400, 9000, 600],
      ],
      labels: [
        ['low', L.metal1, 0, 0],
        ['high', L.metal1, 0, 500],
      ],
    };
    const { opens } = await faults(pair, [finding('open', 'metal1', [4000, -50, 4600, 450])]);
    expect(opens.map((open) => open.nets)).toEqual([['low']]);
  });

  it('take the word of the finding for which net it is', async () => {
    const pair: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 9000, 200],
        [L.metal1, 0, 220, 9000, 420],
      ],
      labels: [
        ['low', L.metal1, 0, 0],
        ['high', L.metal1, 0, 300],
      ],
    };
    const { opens } = await faults(pair, [finding('open', 'metal1', [4000, 0, 4600, 420], 0.9, ['high'])]);
    expect(opens.map((open) => open.nets)).toEqual([['high']]);
  });
});

describe('shorts', () => {
  const pair: DrawnCell = {
    name: 'TOP',
    boxes: [
      [L.metal1, 0, 0, 9000, 200],
      [L.metal1, 0, 500, 9000, 700],
    ],
    labels: [
      ['ebb', L.metal1, 100, 100],
      ['flow', L.metal1, 100, 600],
    ],
  };

  it('follow from a bridge, whether its box reaches into both wires or just fills the gap', async () => {
    for (const box of [
      [4000, 150, 4400, 550],
      [4000, 200, 4400, 500],
      [4000, 250, 4400, 450],
    ] as const) {
      const { opens, shorts } = await faults(pair, [finding('bridge', 'metal1', box, 0.7)]);
      expect(opens).toEqual([]);
      expect(shorts).toMatchObject([{ nets: ['ebb', 'flow'], net_ids: ['n1', 'n2'] }]);
      expect(shorts[0]!.probability).toBeCloseTo(0.7, 12);
      expect(shorts[0]!.note).toBe('"ebb" and "flow" are joined on metal1.');
    }
  });

  it('gather several bridges between the same two nets', async () => {
    const { shorts } = await faults(pair, [
      finding('bridge', 'metal1', [4000, 150, 4400, 550], 0.7),
      finding('bridge', 'metal1', [6000, 150, 6400, 550], 0.5),
    ]);
    expect(shorts).toHaveLength(1);
    expect(shorts[0]!.places).toHaveLength(2);
    expect(shorts[0]!.probability).toBeCloseTo(0.85, 12);
  });

  it('do not follow from a bridge within one net, which may instead close a break', async () => {
    const hairpin: DrawnCell = {
      ...pair,
      boxes: [...pair.boxes!, [L.metal1, 8800, 0, 9000, 700]],
      labels: [],
    };
    const bridge = finding('bridge', 'metal1', [4000, 150, 4400, 550], 1);
    const broken = finding('open', 'metal1', [8800, 250, 9000, 450], 1);
    expect(await faults(hairpin, [bridge])).toEqual({ opens: [], shorts: [] });
    expect((await faults(hairpin, [broken])).opens).toHaveLength(1);
    expect((await faults(hairpin, [broken, bridge])).opens).toEqual([]);
  });

  it('follow from a via where none is drawn', async () => {
    const crossing: DrawnCell = {
      name: 'TOP',
      boxes: [
        [L.metal1, 0, 0, 9000, 300],
        [L.metal2, 4000, -4000, 4300, 4000],
      ],
    };
    const { shorts } = await faults(crossing, [finding('extra-via', 'via1', [4050, 50, 4250, 250])]);
    expect(shorts).toMatchObject([{ net_ids: ['n1', 'n2'] }]);
    expect((await faults(crossing, [finding('extra-via', 'via1', [6050, 50, 6250, 250])])).shorts).toEqual(
      [],
    );
  });
});

describe('the window', () => {
  const U: DrawnCell = {
    name: 'TOP',
    boxes: [
      [L.metal1, -9000, 0, 9000, 200],
      [L.metal1, -9000, 500, 9000, 700],
      [L.metal1, 8800, 0, 9000, 700],
      [L.metal1, -9000, 0, -8800, 700],
      [L.metal1, -9000, 1000, 9000, 1200],
    ],
  };
  const window: Box = [-2, -1, 2, 2];
  const bridge = finding('bridge', 'metal1', [0, 150, 400, 550]);
  const other = finding('bridge', 'metal1', [0, 650, 400, 1050]);
  const broken = finding('open', 'metal1', [0, 0, 400, 200]);

  it('cuts nets, which may be joined beyond it', async () => {
    const { opens, shorts } = await faults(U, [bridge], window);
    expect(opens).toEqual([]);
    expect(shorts).toMatchObject([{ may_join_outside: true }]);
    expect(shorts[0]!.note).toMatch(/unless they are one net outside the field/);
    const cut = await faults(U, [broken], window);
    expect(cut.opens).toMatchObject([{ may_join_outside: true }]);
    expect(cut.opens[0]!.pieces.every((piece) => piece.leaves_field)).toBe(true);
  });

  it('is looked beyond where the whole drawing can be followed', async () => {
    const layout = await drawLayout([U]);
    const drawn = connectDrawing(layout, 'TOP', METALS, window);
    const whole = connectDrawing(layout, 'TOP', METALS, WIDE);
    expect(faultsFromFindings(drawn, [bridge, broken], { whole })).toEqual({ opens: [], shorts: [] });
    expect(faultsFromFindings(drawn, [other], { whole }).shorts).toMatchObject([{ may_join_outside: false }]);
  });

  it('takes two cut pieces of one label for one net', async () => {
    const { shorts } = await faults(
      {
        ...U,
        labels: [
          ['vdd', L.metal1, 0, 100],
          ['vdd', L.metal1, 0, 600],
        ],
      },
      [bridge],
      window,
    );
    expect(shorts).toEqual([]);
  });
});
