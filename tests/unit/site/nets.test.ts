/** Lit nets and found names, as numbers and lists. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { reviewColumns } from '../../../shared/artefacts/reviews.ts';
import { signedArea } from '../../../shared/polygon.ts';
import { findNames } from '../../../site/lib/net-find.ts';
import { boxOfAll, nearestOutside, ringOf } from '../../../site/lib/net-shapes.ts';
import { encodeState, parseState } from '../../../site/lib/permalink.ts';
import { COLUMNS, mergeReviews, readStored, reviewRows } from '../../../site/lib/review-list.ts';

describe('shapes of a net', () => {
  it('are rings that run counter-clockwise, whatever way they were written', () => {
    expect(ringOf([0, 0, 4, 2])).toEqual([0, 0, 4, 0, 4, 2, 0, 2]);
    const corner = fc.integer({ min: -1000, max: 1000 });
    fc.assert(
      fc.property(fc.array(corner, { minLength: 6, maxLength: 20 }), (xy) => {
        const shape = xy.length % 2 === 0 ? xy : xy.slice(1);
        if (shape.length < 6) return;
        const ring = ringOf(shape);
        expect(signedArea(ring)).toBeCloseTo(Math.abs(signedArea(shape)), 6);
        const points = (flat: readonly number[]): string[] =>
          flat.flatMap((x, n) => (n % 2 === 0 ? [`${x},${flat[n + 1]}`] : [])).sort();
        expect(points(ring)).toEqual(points(shape));
      }),
      { seed: 9, numRuns: 200 },
    );
  });
  it('in the view need no move; else the nearest place of them is gone to', () => {
    const shapes = [
      [0, 0, 10, 2],
      [50, 50, 60, 60],
    ];
    expect(nearestOutside(shapes, [9, 1, 20, 20])).toBeNull();
    expect(nearestOutside(shapes, [30, 30, 40, 40])).toEqual([50, 50]);
    expect(nearestOutside(shapes, [12, -20, 14, -10])).toEqual([10, 0]);
    expect(nearestOutside([], [0, 0, 1, 1])).toBeNull();
    expect(boxOfAll(shapes)).toEqual([0, 0, 60, 60]);
  });
});

describe('findNames', () => {
  const net = (name: string) => ({
    name,
    id: 'n1',
    shards: [0, 1] as [number, number],
    layer: 0,
    at: [0, 0] as [number, number],
  });
  const cell = (name: string) => ({ name, instances: 2, boxes: [] });
  const names = {
    version: 1 as const,
    nets: ['div_clk', 'clk10', 'clk2', 'clk', 'rst'].map(net),
    cells: ['CLK', 'BUF_CLK'].map(cell),
  };
  const said = (words: string, most?: number): string[] =>
    findNames(names, words, most).hits.map((hit) => (hit.what === 'net' ? hit.net.name : hit.cell.name));

  it('puts exact names first, then beginnings by number, then parts; nets before cells', () => {
    expect(said('clk')).toEqual(['clk', 'CLK', 'clk2', 'clk10', 'div_clk', 'BUF_CLK']);
    expect(said(' RST ')).toEqual(['rst']);
    expect(said('')).toEqual([]);
    expect(said('none')).toEqual([]);
  });
  it('says how many more there are', () => {
    expect(findNames(names, 'clk', 2)).toMatchObject({ more: 4 });
  });
});

describe('the address of a net', () => {
  it('is a place on it, and comes back', () => {
    const state = { zUm: 1, xUm: 2, yUm: 3, widthUm: 4, views: 'both' as const };
    const net = { layer: 'metal1', xUm: -103.25, yUm: 86.5 };
    expect(parseState(encodeState({ ...state, finding: 'F0007', net }))).toEqual({
      ...state,
      finding: 'F0007',
      net,
    });
  });
  it.each(['net=', 'net=n3', 'net=metal1@1', 'net=metal1@1.2.3,4', 'net=@1,2', 'finding=7', 'finding=F1'])(
    '%s is left out',
    (text) => expect(parseState(`#${text}`)).toEqual({}),
  );
});

describe('reviews that a browser keeps', () => {
  const review = {
    scan: 'fine',
    id: 'F0001',
    kind: 'open' as const,
    layer: 'metal1',
    x_um: 1,
    y_um: 2,
    decision: 'accept' as const,
    comment: '',
    date: '2026-01-01',
  };
  it('have the columns of the schema', () => expect([...COLUMNS]).toEqual([...reviewColumns]));
  it('are read again, but for what the record took in meanwhile and what is none', () => {
    const other = { ...review, id: 'F0002' };
    const text = JSON.stringify([review, other, null, 7, { id: 'F1' }, { ...review, x_um: 'left' }]);
    expect(readStored(text, [review])).toEqual([other]);
    for (const bad of [null, '', '{', '{}', '7', 'null']) expect(readStored(bad, [])).toEqual([]);
  });
  it('follow the record in the file', () => {
    const newer = { ...review, decision: 'reject' as const };
    expect(mergeReviews([review], [newer, review])).toEqual([review, newer]);
    const [header, rows] = reviewRows([newer]);
    expect(header[6]).toBe('decision');
    expect(rows).toEqual([['fine', 'F0001', 'open', 'metal1', 1, 2, 'reject', '', '2026-01-01']]);
  });
});
