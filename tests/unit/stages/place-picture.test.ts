/** Flat pictures of the top, drawn by librsvg and not by our own rasteriser; the truth is the map they were drawn with. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { boundsUm } from '../../../pipeline/formats/layout/flatten.ts';
import type { Layout } from '../../../pipeline/formats/layout.ts';
import { placePictureByLandmarks } from '../../../pipeline/stages/place/picture/picture-landmarks.ts';
import { placePicture } from '../../../pipeline/stages/place/picture/place-picture.ts';
import { apply2, apply3 } from '../../../shared/affine.ts';
import { type Placement, unplaced } from '../../../shared/artefacts/placement.ts';
import { drawPhotograph, type Photograph, type PhotographOptions } from '../../fixtures/draw-photograph.ts';
import { drawLayout, L, METALS } from '../../fixtures/nets/draw-layout.ts';
import { generator } from '../../fixtures/random.ts';

const folder = mkdtempSync(join(tmpdir(), 'picture-'));
afterAll(() => rmSync(folder, { recursive: true }));

const NOWHERE = unplaced(
  [
    [1, 0, 0, 0],
    [0, 1, 0, 0],
    [0, 0, 1, 0],
  ],
  { seen_from: 'unknown', order: 'unknown' },
  'no method',
  'no place',
);

type Boxes = (readonly [number, number, number, number, number])[];

/** Wires of two metals, 60 x 45 µm, no two parts alike. */
function wires(seed: number): Boxes {
  const random = generator(seed);
  const between = (a: number, b: number): number => Math.round((a + (b - a) * random()) / 100) * 100;
  return Array.from({ length: 160 }, (_, n) => {
    const [x, y, long, wide] = [between(0, 52e3), between(0, 40e3), between(2e3, 12e3), between(600, 1600)];
    return n % 2
      ? ([L.metal3, x, y, Math.min(60e3, x + long), y + wide] as const)
      : ([L.metal2, x, y, x + wide, Math.min(45e3, y + long)] as const);
  });
}

async function placed(layout: Layout, photograph: Photograph): Promise<Placement> {
  const file = join(folder, 'top.jpg');
  writeFileSync(file, photograph.jpeg);
  return placePicture(
    {
      ...{ file, name: 'top.jpg', pixelUm: photograph.statedUm, layout, top: 'TOP', process: METALS },
      ...{ layoutBoxUm: boundsUm(layout, 'TOP')!, saidUm: null, pause: async () => {} },
    },
    NOWHERE,
  );
}

const SHOT: PhotographOptions = {
  ...{ seed: 1, middleUm: [27, 23], widthPx: 400, heightPx: 320, pixelUm: 0.075, turnDeg: 97.3 },
  ...{ scaleError: 0.03, blurPx: 2, noise: 10 },
};

/** Farthest miss over the corners and the middle, in pixels of the photograph. */
function missPx(
  placement: Placement,
  { map }: Photograph,
  { widthPx, heightPx, pixelUm }: PhotographOptions,
) {
  const misses = [0, 0.5, 1].flatMap((u) =>
    [0, 0.5, 1].map((v) => {
      const [i, j] = [u * (widthPx - 1), v * (heightPx - 1)];
      const [x, y] = apply3(placement.voxel_to_die_um, [i, j, 0]);
      const [tx, ty] = apply2(map, i, j);
      return Math.hypot(x - tx, y - ty) / pixelUm;
    }),
  );
  return Math.max(...misses);
}

const TOP = { name: 'TOP' };

it.each([
  ['turned by 97 degrees', SHOT],
  ['mirrored', { ...SHOT, seed: 5, turnDeg: -12, mirrored: true, scaleError: -0.04, blurPx: 3 }],
])(
  'finds a picture that is %s, to a pixel and a half',
  async (_, shot) => {
    const layout = await drawLayout([{ ...TOP, boxes: wires(7) }]);
    const photograph = await drawPhotograph(layout, 'TOP', METALS, shot);
    const placement = await placed(layout, photograph);
    expect(placement.doubts).toEqual([]);
    expect(placement.verdict).toBe('locked');
    expect(placement.seen_from).toBe(shot.mirrored ? 'back' : 'front');
    expect(missPx(placement, photograph, shot)).toBeLessThan(1.5);
    // The picture lies on the highest metal: metal3 ends at 2.7 µm.
    expect(placement.voxel_to_die_um[2][3]).toBeCloseTo(2.7, 6);
  },
  60_000,
);

it('does not lock a picture of another chip', async () => {
  const layout = await drawLayout([{ ...TOP, boxes: wires(7) }]);
  const other = await drawLayout([{ ...TOP, boxes: wires(8) }]);
  const placement = await placed(layout, await drawPhotograph(other, 'TOP', METALS, SHOT));
  expect(placement.verdict).toBe('unplaced');
  expect(placement.source).toBe('none');
  expect(placement.doubts[0]).toContain('no place fits well enough');
}, 240_000);

it('calls a pattern that repeats ambiguous', async () => {
  const cell: Boxes = [
    [L.metal3, 0, 0, 3500, 900],
    [L.metal2, 600, 1500, 1500, 4600],
    [L.metal3, 2600, 2200, 4400, 3200],
  ];
  const boxes = Array.from({ length: 12 * 9 }, (_, n) => n).flatMap((n) =>
    cell.map(([l, x0, y0, x1, y1]) => {
      const [dx, dy] = [5000 * (n % 12), 5000 * Math.floor(n / 12)];
      return [l, x0 + dx, y0 + dy, x1 + dx, y1 + dy] as const;
    }),
  );
  const layout = await drawLayout([{ ...TOP, boxes }]);
  const placement = await placed(layout, await drawPhotograph(layout, 'TOP', METALS, SHOT));
  expect(placement.verdict).toBe('ambiguous');
  expect(placement.doubts.join()).toContain('Another place');
}, 240_000);

it('is placed by landmarks, mirrored or not, as the points say', () => {
  // x = 0.1 i + 5, y = 0.1 j + 7: worked by hand; Y runs down the picture, so it is seen from the back.
  const rows = [
    [0, 0, 5, 7],
    [100, 0, 15, 7],
    [0, 80, 5, 15],
  ].map(([i, j, x, y]) => [i, j, 0, x, y, 4].join(','));
  const text = ['i,j,k,x_um,y_um,z_um', ...rows].join('\n');
  const placement = placePictureByLandmarks({ name: 'marks.csv', text }, 0.1, 'auto', NOWHERE);
  expect(placement.verdict).toBe('locked');
  expect(placement.seen_from).toBe('back');
  const found = apply3(placement.voxel_to_die_um, [50, 40, 0]);
  for (const [n, value] of [10, 11, 4].entries()) expect(found[n]).toBeCloseTo(value, 6);
});
