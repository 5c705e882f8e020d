/** The comparison on an invented layout whose images the test makes by itself. */
import { describe, expect, it } from 'vitest';
import type { Layout, LayoutCell } from '../../../pipeline/formats/layout.ts';
import type { CompareOutcome } from '../../../pipeline/stages/compare/compare-scan.ts';
import { compareScan } from '../../../pipeline/stages/compare/compare-scan.ts';
import type { Layers } from '../../../shared/artefacts/layers.ts';
import { processSchema } from '../../../shared/artefacts/process.ts';
import { portraitsOf, type Rectangle, type SyntheticImage } from '../../fixtures/synthetic-portraits.ts';

const PIXEL = 0.04;
const SIDE = 260;
const PATIENCE_MS = 240_000;

const process = processSchema.parse({
  name: 'Two metals (invented)',
  layers: [
    { name: 'metal1', role: 'conductor', bottom_um: 1, thickness_um: 0.4, drawn: ['1/0'] },
    { name: 'via1', role: 'via', bottom_um: 1.4, thickness_um: 0.5, drawn: ['2/0'] },
    { name: 'metal2', role: 'conductor', bottom_um: 1.9, thickness_um: 0.4, drawn: ['3/0'] },
  ],
});

const heights: Layers = {
  version: 1,
  basis: 'measured',
  plates: [],
  layers: process.layers.map((l) => ({
    name: l.name,
    role: l.role,
    bottom_um: l.bottom_um,
    top_um: l.bottom_um + l.thickness_um,
    sd_um: 0.01,
    nominal_bottom_um: l.bottom_um,
    nominal_top_um: l.bottom_um + l.thickness_um,
    confidence: 1,
    seen: 'whole',
  })),
};

/** Wires along x on metal 1 (lower half), along y on metal 2 (right of 3 um), vias at some of the crossings. */
const drawing: Rectangle[][] = [
  [0, 1, 2, 3, 4, 5, 6, 7, 8].map((k): Rectangle => [0.4, 0.6 + 0.6 * k, 10, 0.84 + 0.6 * k]),
  [0, 1, 2, 3, 4, 5, 6, 7, 8].flatMap((k) =>
    [0, 1, 2, 3, 4, 5, 6].map((m): Rectangle => {
      const [x, y] = [3.12 + 0.96 * m, 0.72 + 0.6 * k];
      return [x - 0.1, y - 0.1, x + 0.1, y + 0.1];
    }),
  ),
  [0, 1, 2, 3, 4, 5, 6].map((m): Rectangle => [3 + 0.96 * m, 0.4, 3.24 + 0.96 * m, 9.8]),
];

function layoutOf(layers: readonly (readonly Rectangle[])[]): Layout {
  const polygons = new Map(
    layers.map((rectangles, n) => [
      `${n + 1}/0` as const,
      {
        xy: Int32Array.from(
          rectangles.flatMap(([a, b, c, d]) => [a, b, c, b, c, d, a, d].map((v) => Math.round(v * 1000))),
        ),
        starts: Uint32Array.from({ length: rectangles.length + 1 }, (_, k) => 4 * k),
      },
    ]),
  );
  const cell: LayoutCell = {
    name: 'TOP',
    polygons,
    paths: new Map(),
    arrays: new Map(),
    labels: [],
    references: {
      count: 0,
      targets: [],
      target: new Uint32Array(0),
      transforms: new Float64Array(0),
      magnifications: new Float64Array(0),
      columns: new Uint32Array(0),
      rows: new Uint32Array(0),
      stepsDbu: new Float64Array(0),
      properties: new Map(),
    },
  };
  return {
    file: 'invented.gds',
    format: 'gdsii',
    dbuUm: 0.001,
    cells: new Map([['TOP', cell]]),
    topCells: ['TOP'],
    bytes: 0,
    notes: [],
  };
}

/** Takes `hole` out of the rectangles that it crosses from side to side. */
const cutAlongX = (rectangles: readonly Rectangle[], [x0, y0, x1, y1]: Rectangle): Rectangle[] =>
  rectangles.flatMap((r) =>
    r[1] < y1 && r[3] > y0 && r[0] < x0 && r[2] > x1
      ? [
          [r[0], r[1], x0, r[3]],
          [x1, r[1], r[2], r[3]],
        ]
      : [r],
  ) as Rectangle[];

const image = (seed: number): SyntheticImage => ({
  side: SIDE,
  pixelUm: PIXEL,
  blurPx: 0.9 + 0.25 * (seed % 3),
  noise: 0.2,
  contrast: seed % 2 === 0 ? 4000 : -70,
  halo: 0.5 + 0.1 * (seed % 4),
  ghost: 0.25,
  seed,
  wideningUm: 0.008 * (seed % 2),
});

function compared(
  made: readonly (readonly Rectangle[])[],
  seed: number,
  { verdict = 'locked', selfTest = false, threads = 1 } = {},
): Promise<CompareOutcome> {
  const layers = made.map((rectangles, n) => ({ name: process.layers[n]!.name, rectangles }));
  const values = portraitsOf(layers, image(seed));
  return compareScan({
    layout: layoutOf(drawing),
    top: 'TOP',
    process,
    placement: { verdict: verdict as 'locked' },
    layers: heights,
    grid: { origin_um: [0, (SIDE - 1) * PIXEL], pixel_um: PIXEL, width_px: SIDE, height_px: SIDE },
    portraits: values.map((v, n) => ({ name: process.layers[n]!.name, values: v })),
    ...{ seed, selfTest, threads },
  });
}

const fill: Rectangle[] = [0, 1, 2].flatMap((k) =>
  [0, 1, 2, 3, 4, 5, 6].map((m): Rectangle => [1 + 1.1 * m, 6.4 + 1.1 * k, 1.5 + 1.1 * m, 6.9 + 1.1 * k]),
);

/** A broken wire, a bridge, a blob, a missing via; and fill on metal 1, which is none of these. */
const faulty: Rectangle[][] = [
  [...cutAlongX(drawing[0]!, [6.3, 1.7, 6.6, 2.1]), ...fill, [2.0, 3.2, 2.26, 3.68]],
  drawing[1]!.filter((r) => !(Math.abs(r[0] - 5.9) < 0.05 && Math.abs(r[1] - 3.62) < 0.05)),
  [...drawing[2]!, [1.2, 4.05, 1.6, 4.35]],
];
const missing = drawing[1]!.filter((r) => !faulty[1]!.includes(r));

describe('compareScan', () => {
  it('is given a drawing with one via that the image lacks', () => {
    expect(missing).toHaveLength(1);
  });

  it.each([1, 2])(
    'finds what was done to the chip, and nothing else, seed %i',
    async (seed) => {
      const { findings } = await compared(faulty, seed);
      const at = (x: number, y: number) =>
        findings.findings.find(
          ({ box_um: [x0, y0, x1, y1] }) => x0 - 0.1 < x && x < x1 + 0.1 && y0 - 0.1 < y && y < y1 + 0.1,
        );
      expect(at(6.45, 1.92)).toMatchObject({ kind: 'open', layer: 'metal1' });
      expect(at(2.13, 3.42)).toMatchObject({ kind: 'bridge', layer: 'metal1' });
      expect(at(1.4, 4.2)).toMatchObject({ kind: 'extra-shape', layer: 'metal2' });
      expect(at(missing[0]![0] + 0.1, missing[0]![1] + 0.1)).toMatchObject({
        kind: 'missing-via',
        layer: 'via1',
      });
      expect(findings.findings).toHaveLength(4);
      for (const { probability, note } of findings.findings) {
        expect(probability).toBeGreaterThan(0.8);
        expect(note).toMatch(/µm/);
      }
      expect(findings.fill).toHaveLength(1);
      expect(findings.fill[0]).toMatchObject({ layer: 'metal1', count: fill.length });
      expect(findings.fill[0]!.pitch_um[0]).toBeCloseTo(1.1, 1);
    },
    PATIENCE_MS,
  );

  it.each([3, 4])(
    'finds nothing on a sound chip, and says how wide its lines are, seed %i',
    async (seed) => {
      const { findings, selftest } = await compared(drawing, seed, { selfTest: true });
      expect(findings.findings).toEqual([]);
      expect(findings.fill).toEqual([]);
      const metal1 = findings.bias.find((b) => b.layer === 'metal1')!;
      expect(metal1.widening_um).toBeCloseTo(image(seed).wideningUm, 2);
      expect(Math.hypot(...metal1.shift_um)).toBeLessThan(0.01);
      expect(metal1.bright).toBe(image(seed).contrast > 0);
      const large = selftest!.trials.filter((t) => t.kind === 'missing-shape' && t.size_um > 0.3);
      expect(large.reduce((s, t) => s + t.found, 0)).toBeGreaterThanOrEqual(
        0.9 * large.reduce((s, t) => s + t.planted, 0),
      );
      expect(selftest!.trials.reduce((s, t) => s + t.planted, 0)).toBeGreaterThan(100);
    },
    PATIENCE_MS,
  );

  it(
    'doubts, and finds nothing, where the drawing is that of something else',
    async () => {
      // The chip's first metal runs where the drawing has its second, and the other way round; no via is where it is drawn.
      const turned = (list: readonly Rectangle[]): Rectangle[] =>
        list.map(([x0, y0, x1, y1]) => [y0 + 0.17, x0 + 0.23, y1 + 0.17, x1 + 0.23]);
      const { findings } = await compared(drawing.map(turned), 5);
      expect(findings.findings).toEqual([]);
      expect(findings.doubts.length).toBeGreaterThanOrEqual(3);
    },
    PATIENCE_MS,
  );

  it(
    'finds the same in threads of their own',
    async () => {
      const [one, three] = [await compared(faulty, 2), await compared(faulty, 2, { threads: 3 })];
      expect(three).toEqual(one);
    },
    PATIENCE_MS,
  );

  it('judges nothing where the placement is in doubt', async () => {
    const { findings, selftest } = await compared(faulty, 1, { verdict: 'ambiguous' });
    expect(findings).toMatchObject({ findings: [], fill: [], judged_area_um2: {} });
    expect(findings.doubts).toHaveLength(1);
    expect(selftest).toBeNull();
  });
});
