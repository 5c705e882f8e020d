/** Wires followed in the image alone, on portraits made without the pipeline's own model. */
import { describe, expect, it } from 'vitest';
import { crossCheck } from '../../../pipeline/stages/connect/cross-check.ts';
import { imageNets } from '../../../pipeline/stages/connect/image-nets.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { type DrawnCell, L, netsOf } from '../../fixtures/nets/draw-layout.ts';
import { type PortraitOptions, syntheticPortrait } from '../../fixtures/nets/synthetic-portrait.ts';
import { generator } from '../../fixtures/random.ts';

type Box = readonly [number, number, number, number];

const GRID: PlateGrid = { origin_um: [0.02, 6.98], pixel_um: 0.04, width_px: 175, height_px: 175 };

/** Wires of 5 pixels in rows 10 pixels apart, with ends here and there. */
function rows(seed: number): Box[] {
  const random = generator(seed);
  const found: Box[] = [];
  for (let y = 400; y < 6600; y += 400) {
    for (let x = 200; x < 6000; ) {
      const to = Math.min(6800, x + 1500 + Math.floor(3000 * random()));
      found.push([x, y, to, y + 200]);
      x = to + 200 + Math.floor(400 * random());
    }
  }
  return found;
}

const um = ([x0, y0, x1, y1]: Box): Box => [x0 / 1000, y0 / 1000, x1 / 1000, y1 / 1000];
const cellOf = (boxes: readonly Box[]): DrawnCell => ({
  name: 'TOP',
  boxes: boxes.map((b) => [L.metal1, ...b] as const),
});
const crossing: Box[] = Array.from({ length: 8 }, (_, n) => [300 + 800 * n, 0, 500 + 800 * n, 7000] as const);

async function followed(seed: number, edit: (boxes: Box[]) => Box[], options: Partial<PortraitOptions> = {}) {
  const boxes = rows(seed);
  const drawn = await netsOf(cellOf(boxes), [0, 0, 7, 7]);
  const portrait = syntheticPortrait(edit(boxes).map(um), crossing.map(um), GRID, {
    ...{ seed, contrast: 10, noise: 1.2, blurPx: 1, leak: 0.15 },
    ...options,
  });
  const portraitOf = (layer: string) => (layer === 'metal1' ? portrait : undefined);
  return { boxes, drawn, portraitOf, image: imageNets(drawn, GRID, portraitOf) };
}

/** Cuts 8 pixels out of a wire. */
const cut = ([x0, y0, x1, y1]: Box, at: number): Box[] => [
  [x0, y0, at, y1],
  [at + 320, y0, x1, y1],
];

describe('wires in the image', () => {
  it('are neither cut nor joined where image and drawing are alike, whatever the contrast', async () => {
    for (const [seed, contrast] of [
      [1, 10],
      [2, -10],
      [3, 10],
      [4, -2],
    ] as const) {
      const { image } = await followed(seed, (boxes) => boxes, {
        contrast,
        noise: 0.12 * Math.abs(contrast),
      });
      expect(image.suggestions).toEqual([]);
      expect(image.layers.map(({ kind, judged }) => [kind, judged])).toEqual([
        ['open', true],
        ['bridge', true],
      ]);
      expect(image.seen.size).toBeGreaterThan(20);
    }
  });

  it('show a break and a bridge at their places and nothing else', async () => {
    for (const seed of [11, 12, 13]) {
      const at = { wire: -1, lower: -1 };
      const { boxes, image, drawn, portraitOf } = await followed(
        seed,
        (all) => {
          at.wire = all.findIndex(([x0, y0, x1]) => x1 - x0 > 2500 && y0 > 1500);
          const spans = ([x0, , x1]: Box) => x0 < 2000 && x1 > 3000;
          at.lower = all.findIndex(
            (box, n) => n > at.wire + 6 && spans(box) && all.some((b) => spans(b) && b[1] === box[1] + 400),
          );
          const [, y0] = all[at.lower]!;
          const middle = all[at.wire]![0] + 1200;
          const bridge: Box = [2400, y0 + 200, 2640, y0 + 400];
          return [...all.flatMap((box, n) => (n === at.wire ? cut(box, middle) : [box])), bridge];
        },
        { contrast: seed === 12 ? -10 : 10 },
      );
      expect(
        image.suggestions.map(({ kind }) => kind),
        `seed ${seed}`,
      ).toEqual(['open', 'bridge']);
      const [open, bridge] = image.suggestions;
      const middle = (boxes[at.wire]![0] + 1360) / 1000;
      expect(Math.abs(open!.centre_um[0] - middle)).toBeLessThan(0.15);
      expect(open!.centre_um[1]).toBeCloseTo(boxes[at.wire]![1] / 1000 + 0.1, 6);
      expect(Math.abs(bridge!.centre_um[0] - 2.52)).toBeLessThan(0.15);
      expect(bridge!.probability).toBeGreaterThan(0.99);
      const none = { opens: [], shorts: [], judged: true, doubts: [] };
      const check = crossCheck({ drawn, whole: null }, none, GRID, portraitOf);
      expect(check.doubts).toHaveLength(2);
      expect(check.doubts.join()).toMatch(/is broken on metal1 at .* are joined on metal1 at /);
      const state = drawn.nets.map((_, n) => check.imaged(n));
      expect(state.filter((s) => s === 'parted')).toHaveLength(1);
      expect(state.filter((s) => s === 'joined')).toHaveLength(2);
    }
  });

  it('are not followed in a portrait of something else, nor in one too noisy', async () => {
    const elsewhere = await followed(21, () => rows(99).map(([x0, y0, x1, y1]) => [y0, x0, y1, x1]));
    expect(elsewhere.image.layers).toEqual([]);
    const noisy = await followed(22, (boxes) => boxes, { noise: 5 });
    expect(noisy.image.suggestions).toEqual([]);
    expect(noisy.image.layers.filter(({ judged }) => judged)).toEqual([]);
    const none = { opens: [], shorts: [], judged: true, doubts: [] };
    const check = crossCheck({ drawn: noisy.drawn, whole: null }, none, GRID, noisy.portraitOf);
    expect(noisy.drawn.nets.every((_, n) => check.imaged(n) === 'unjudged')).toBe(true);
  });

  it('say where they do not confirm what the findings say', async () => {
    const { drawn, portraitOf, boxes } = await followed(31, (all) => all);
    const [x0, y0] = um(boxes[20]!);
    const net = drawn.nets[drawn.numbersAt('metal1', [x0, y0, x0 + 0.1, y0 + 0.1])[0]!]!;
    const place = { layer: 'metal1', centre_um: [x0 + 0.7, y0 + 0.1] as [number, number] };
    const open = {
      nets: [net.name],
      net_ids: [net.id],
      places: [place],
      probability: 0.9,
      note: '',
      pieces: [],
      may_join_outside: false,
    };
    const check = crossCheck(
      { drawn, whole: null },
      { opens: [open], shorts: [], judged: true, doubts: [] },
      GRID,
      portraitOf,
    );
    expect(check.doubts).toEqual([
      `The open of "${net.name}" does not show where the wires are followed in the image alone.`,
    ]);
  });
});
