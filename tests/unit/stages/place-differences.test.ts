/** Places that look alike, told apart by the shapes that differ: drawings and scans made by hand, known by construction. */
import { describe, expect, it } from 'vitest';
import { contest } from '../../../pipeline/stages/place/automatic/contest.ts';
import { isOther, isOwn, tellApart } from '../../../pipeline/stages/place/automatic/differences.ts';
import type { DrawnStack } from '../../../pipeline/stages/place/automatic/drawing.ts';
import { sceneOf } from '../../../pipeline/stages/place/automatic/scene.ts';
import type { WorkVolume } from '../../../pipeline/stages/place/automatic/work-volume.ts';
import type { Affine3 } from '../../../shared/affine.ts';
import type { ProcessLayer } from '../../../shared/artefacts/process.ts';
import type { PlateGrid } from '../../../shared/frames.ts';
import { generator } from '../../fixtures/random.ts';

type Rectangle = readonly [number, number, number, number];

const [NX, NY, NZ] = [120, 100, 30];
const VOXEL = 0.05;
const LAYERS = ['lower', 'middle', 'upper'].map(
  (name, n): ProcessLayer => ({
    ...{ name, role: 'conductor', bottom_um: 0.5 * n, thickness_um: 0.4, drawn: [`${n}/0`] },
  }),
);
/** Places of the field on the die: the same drawing at each of them. */
const PLACES = [0, 10, 20, 30];

/** Shapes that every place has, and shapes that single places have. */
function drawing(own: Readonly<Record<number, readonly (readonly Rectangle[])[]>>): Rectangle[][] {
  const random = generator(4);
  return LAYERS.map((_, n) => {
    const shared = Array.from({ length: 26 }, (): Rectangle => {
      const [x, y] = [5.2 * random(), 4.4 * random()];
      return random() < 0.5 ? [x, y, x + 0.9, y + 0.25] : [x, y, x + 0.25, y + 0.7];
    });
    return PLACES.flatMap((at) =>
      [...shared, ...(own[at]?.[n] ?? [])].map(([x0, y0, x1, y1]): Rectangle => [x0 + at, y0, x1 + at, y1]),
    );
  });
}

const POINTS = 4;
const stackOf = (shapes: readonly (readonly Rectangle[])[]): DrawnStack => ({
  layers: LAYERS,
  render: (
    layer,
    { origin_um: [left, top], pixel_um: pixel, width_px: width, height_px: height }: PlateGrid,
  ) => {
    const out = new Float32Array(width * height);
    for (const [x0, y0, x1, y1] of shapes[LAYERS.findIndex((l) => l.name === layer.name)]!) {
      const columns = [Math.floor((x0 - left) / pixel - 0.5), Math.ceil((x1 - left) / pixel + 0.5)] as const;
      const rows = [Math.floor((top - y1) / pixel - 0.5), Math.ceil((top - y0) / pixel + 0.5)] as const;
      for (let row = Math.max(0, rows[0]); row <= Math.min(height - 1, rows[1]); row++)
        for (let column = Math.max(0, columns[0]); column <= Math.min(width - 1, columns[1]); column++)
          for (let s = 0; s < POINTS ** 2; s++) {
            const x = left + (column + ((s % POINTS) + 0.5) / POINTS - 0.5) * pixel;
            const y = top - (row + (Math.floor(s / POINTS) + 0.5) / POINTS - 0.5) * pixel;
            const p = row * width + column;
            if (x >= x0 && x < x1 && y >= y0 && y < y1) out[p] = Math.min(1, out[p]! + 1 / POINTS ** 2);
          }
    }
    return out;
  },
});

/** Where the field lies: its lower left corner at x micrometres. */
const mapAt = (x: number, y = 0): Affine3 => [
  [VOXEL, 0, 0, x],
  [0, -VOXEL, 0, y + VOXEL * (NY - 1)],
  [0, 0, VOXEL, 0],
];

function scanAt(stack: DrawnStack, x: number): WorkVolume {
  const random = generator(9);
  const grid = { origin_um: [x, VOXEL * (NY - 1)] as const, pixel_um: VOXEL, width_px: NX, height_px: NY };
  const pictures = LAYERS.map((layer) => stack.render(layer, grid));
  const voxels = new Float32Array(NX * NY * NZ);
  for (let k = 0; k < NZ; k++) {
    const z = k * VOXEL;
    const n = LAYERS.findIndex((l) => z >= l.bottom_um && z < l.bottom_um + l.thickness_um);
    for (let p = 0; p < NX * NY; p++)
      voxels[k * NX * NY + p] = (n < 0 ? 0 : 2 * pictures[n]![p]!) + 1.2 * (random() + random() - 1);
  }
  return {
    ...{ nx: NX, ny: NY, nz: NZ, voxels, weight: new Float32Array(NX * NY).fill(1) },
    ...{ voxelUm: [VOXEL, VOXEL, VOXEL], binning: 1, slowUm: 3 },
  };
}

const DOTS: readonly Rectangle[][] = [
  [
    [1, 3.9, 1.3, 4.2],
    [4.6, 0.4, 4.9, 0.7],
  ],
  [
    [2.2, 2, 2.5, 2.3],
    [3.4, 3.1, 3.7, 3.4],
  ],
  [
    [0.4, 0.5, 0.7, 0.8],
    [5, 4, 5.3, 4.3],
  ],
];
const stack = stackOf(drawing({ 10: DOTS }));

describe('shapes that differ', () => {
  const told = (from: number, to: number, work: WorkVolume, drawn = stack, y = 0) =>
    tellApart(sceneOf(work, mapAt(from), 1, drawn), mapAt(to, y))!;

  it('speak for the place where they are drawn, whichever is taken for the right one', () => {
    const work = scanAt(stack, 10);
    const right = told(10, 0, work);
    expect(right.own).toBeGreaterThanOrEqual(4);
    expect(isOwn(right)).toBe(true);
    expect(isOther(told(0, 10, work))).toBe(true);
    // The same where the scan lacks what is drawn elsewhere.
    expect(isOwn(told(0, 10, scanAt(stack, 0)))).toBe(true);
  });

  it('say nothing between places that are drawn alike, even where one was found a little beside it', () => {
    const work = scanAt(stack, 0);
    for (const y of [0, 0.07, -0.13]) {
      const alike = told(0, 20, work, stack, y);
      expect(alike.own + alike.other).toBeLessThan(2);
    }
  });

  it('speak between heights as well, where the other place shows another layer or none', () => {
    const work = scanAt(stack, 10);
    const lifted = (z: number): Affine3 => [mapAt(10)[0], mapAt(10)[1], [0, 0, VOXEL, z]];
    for (const z of [1, -1]) {
      const right = tellApart(sceneOf(work, lifted(0), 1, stack), lifted(z));
      expect(right && isOwn(right), `${z} um`).toBe(true);
      const wrong = tellApart(sceneOf(work, lifted(z), 1, stack), lifted(0));
      expect(wrong && isOwn(wrong), `${z} um, from there`).toBe(false);
    }
    // A place that was found roughly may be off in height: by that alone it is not told apart.
    const rough = tellApart(sceneOf(work, lifted(0), 1, stack), lifted(0.4));
    expect(rough && isOwn(rough)).toBe(false);
  });

  it('are not taken for shown where the fab filled the gap that another place would leave', () => {
    // Plates at 10; at 0 nothing is drawn there, and the chip has squares on half of the pitch instead.
    const plates = [
      [
        [0.3, 3.2, 1.7, 4.6],
        [3.9, 0.3, 5.3, 1.7],
      ],
      [
        [3.6, 2.8, 5, 4.2],
        [0.4, 0.4, 1.8, 1.8],
      ],
      [[2.1, 1.8, 3.7, 3.2]],
    ] as const;
    const squares = plates.map((own) =>
      own.flatMap(([x0, y0]) =>
        Array.from({ length: 9 }, (_, n): Rectangle => {
          const [x, y] = [x0 + 0.12 + 0.45 * (n % 3), y0 + 0.12 + 0.45 * Math.floor(n / 3)];
          return [x, y, x + 0.3, y + 0.3];
        }),
      ),
    );
    const drawn = stackOf(drawing({ 10: plates }));
    const filled = told(0, 10, scanAt(stackOf(drawing({ 0: squares })), 0), drawn);
    expect(filled.other).toBe(0);
    expect(isOwn(filled)).toBe(true);
    // Where the plates are there the other place is the right one.
    expect(isOther(told(0, 10, scanAt(stackOf(drawing({ 0: plates })), 0), drawn))).toBe(true);
  });

  it('tell no two places apart that are both wrong', () => {
    const half = DOTS.map((dots) => dots.slice(0, 1));
    const other = DOTS.map((dots) => dots.slice(1));
    const three = stackOf(drawing({ 10: half, 20: other }));
    // Of the shapes that differ between both, the scan shows none.
    const between = told(10, 20, scanAt(three, 0), three);
    expect(isOwn(between) || isOther(between)).toBe(false);
    expect(between.own).toBeGreaterThan(1);
    expect(between.other).toBeGreaterThan(1);
  });
});

describe('the contest', () => {
  const at = (x: number, strength: number) => ({
    workToDie: mapAt(x),
    refined: { sign: 1 as const, strength },
  });
  type Place = ReturnType<typeof at>;
  const ask = (drawn: DrawnStack, best: Place, rivals: Place[], more: Place[], steps: number[]) =>
    contest({
      ...{ work: scanAt(drawn, 10), stack: drawn, best, rivals, more, pause: async () => {} },
      repeatsAt: async () => ({
        places: steps.map((x) => ({ stepUm: [x, 0] as const, likeness: 0.97 })),
        latticeUm: [],
      }),
    });

  it('is won by the place whose shapes show, though another correlates better', async () => {
    const [wrong, right, far] = [at(0, 1.01), at(10, 1), at(20, 0.7)];
    const { best, apart } = await ask(stack, wrong, [right, far], [], [-10]);
    expect(best).toBe(right);
    expect([...apart.keys()]).toEqual([wrong]);
    expect(apart.get(wrong)).toBeGreaterThanOrEqual(4);
  });

  it('tells nothing apart where any place remains that looks the same', async () => {
    // 0 and 10 are drawn alike, 20 and 30 lack some shapes.
    const twins = stackOf(drawing({ 0: DOTS, 10: DOTS }));
    const [best, rival, twin] = [at(10, 1), at(20, 0.98), at(0, 0.99)];
    expect((await ask(twins, best, [rival], [], [10, 20])).apart.size).toBe(1);
    expect((await ask(twins, best, [twin, rival], [], [])).apart.size).toBe(0);
    // One that only the coarse level saw, and one that only the drawing shows.
    expect((await ask(twins, best, [rival], [twin], [])).apart.size).toBe(0);
    expect((await ask(twins, best, [rival], [], [10, -10])).apart.size).toBe(0);
  });
});
