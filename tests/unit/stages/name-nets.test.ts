/** Names of nets: whose labels count, votes, doubts. */
import { describe, expect, it } from 'vitest';
import { L, netsOf } from '../../fixtures/nets/draw-layout.ts';

const wire = [L.metal1, 0, 0, 4000, 200] as const;
const named = async (...args: Parameters<typeof netsOf>) => {
  const { nets, doubts } = await netsOf(...args);
  return { names: nets.map(({ name, from }) => [name, from]), doubts, all: nets.map((net) => net.names) };
};

describe('names', () => {
  it('come from the label under whose anchor the net lies, also on its edge', async () => {
    const { names, doubts } = await named({
      name: 'TOP',
      boxes: [wire, [L.metal1, 0, 1000, 4000, 1200]],
      labels: [
        ['tide_clk', L.metal1, 2000, 100],
        ['ebb', L.metal1, 4000, 1200],
      ],
    });
    expect(names).toEqual([
      ['tide_clk', 'label'],
      ['ebb', 'label'],
    ]);
    expect(doubts).toEqual([]);
  });

  it('are voted for where labels differ, and all of them kept', async () => {
    const { names, all, doubts } = await named({
      name: 'TOP',
      boxes: [wire],
      labels: [
        ['b', L.metal1, 100, 100],
        ['c', L.metal1, 200, 100],
        ['b', L.metal1, 300, 100],
        ['a', L.metal1, 400, 100],
      ],
    });
    expect(names).toEqual([['b', 'label']]);
    expect(all).toEqual([['b', 'a', 'c']]);
    expect(doubts).toEqual([
      'One drawn net carries several labels, the one with most votes is its name: b = a = c.',
    ]);
  });

  it('say which labels lie on nothing', async () => {
    const { doubts } = await named({ name: 'TOP', boxes: [wire], labels: [['lost', L.metal1, 100, 900]] });
    expect(doubts).toEqual(['One label lies on no drawn metal and names nothing: lost.']);
  });

  it('need the layer of the label', async () => {
    const { names } = await named({
      name: 'TOP',
      boxes: [wire, [L.metal2, 0, 0, 4000, 200]],
      labels: [['upper', L.metal2, 100, 100]],
    });
    expect(names).toEqual([
      ['metal1@0,0', 'place'],
      ['upper', 'label'],
    ]);
  });

  it('are taken from a label that lies outside the window on a wire that reaches there', async () => {
    const { names } = await named(
      { name: 'TOP', boxes: [wire], labels: [['far', L.metal1, 3900, 100]] },
      [0, 0, 1, 1],
    );
    expect(names).toEqual([['far', 'label']]);
  });

  const gate = {
    name: 'GATE',
    boxes: [[L.metal1, 0, 0, 400, 200]] as const,
    labels: [['A', L.metal1, 100, 100]] as const,
  };

  it('do not take a pin name of a cell for a net of the chip', async () => {
    const { names } = await named([
      gate,
      {
        name: 'TOP',
        boxes: [[L.metal1, 0, 0, 40_000, 200]],
        labels: [['reset', L.metal1, 39_000, 100]],
        references: [
          ['GATE', 0, 0],
          ['GATE', 0, 1000],
          ['GATE', 5000, 1000],
        ],
      },
    ]);
    expect(names).toEqual([
      ['reset', 'label'],
      ['GATE/A@0.1,1.1', 'cell-label'],
      ['GATE/A@5.1,1.1', 'cell-label'],
    ]);
  });

  it('do without the place where the cell occurs once, and still do not take its pin for a net', async () => {
    const { names } = await named([
      gate,
      { name: 'TOP', boxes: [[L.metal1, 0, 5000, 40_000, 5200]], references: [['GATE', 0, 1000]] },
    ]);
    expect(names).toEqual([
      ['GATE/A', 'cell-label'],
      ['metal1@0,5', 'place'],
    ]);
  });

  it('come from a cell that is the chip or its wiring, through a wrapper', async () => {
    const wiring = {
      name: 'WIRING',
      boxes: [[L.metal1, 0, 0, 40_000, 200]] as const,
      rings: [[L.metal2, 0, 0, 200, 0, 200, 40_000, 0, 40_000]] as const,
      labels: [['level', L.metal1, 100, 100]] as const,
    };
    const { names } = await named([
      wiring,
      gate,
      {
        name: 'CORE',
        references: [
          ['WIRING', 0, 0],
          ['GATE', 500, 1000],
        ],
      },
      { name: 'TOP', references: [['CORE', 1000, 1000]] },
    ]);
    expect(names).toEqual([
      ['level', 'label'],
      ['GATE/A', 'cell-label'],
      ['metal2@1,1', 'place'],
    ]);
  });

  it('are not shown where a region is withheld', async () => {
    const cell = { name: 'TOP', boxes: [wire], labels: [['secret', L.metal1, 100, 100]] as const };
    const { names } = await named(cell, undefined, { regionsUm: [[0, 0, 0.5, 0.5]] });
    expect(names).toEqual([['withheld', 'place']]);
  });
});
