/** One layer against a portrait with a closed form: seeded, so that the stated intervals can be counted. */
import { describe, expect, it } from 'vitest';
import { checkLayer } from '../../../pipeline/stages/measure/checks.ts';
import { DrawnShapes } from '../../../pipeline/stages/measure/drawn-shapes.ts';
import { prepareLayer } from '../../../pipeline/stages/measure/layer-input.ts';
import { blurOf, blurReadings } from '../../../pipeline/stages/measure/layer-optics.ts';
import { materialsOf } from '../../../pipeline/stages/measure/materials.ts';
import { type MeasuredLayer, measureLayer } from '../../../pipeline/stages/measure/measure-layer.ts';
import { thicknessOf } from '../../../pipeline/stages/measure/thickness.ts';
import type { LayerSpan } from '../../../shared/artefacts/layers.ts';
import { processSchema } from '../../../shared/artefacts/process.ts';
import { gaussian, normalTable } from '../../fixtures/drawn-raster.ts';

const PX = 0.04;
const grid = { origin_um: [0.02, 9.58], pixel_um: PX, width_px: 400, height_px: 240 } as const;
const process = processSchema.parse({
  name: 'test',
  layers: [{ name: 'metal', role: 'conductor', bottom_um: 1, thickness_um: 0.4, drawn: ['1/0'] }],
  rules: { metal: { width_um: 0.24, space_um: 0.36 } },
});
const span: LayerSpan = {
  ...{ name: 'metal', role: 'conductor', bottom_um: 1, top_um: 1.39, sd_um: 0.005 },
  ...{ nominal_bottom_um: 1, nominal_top_um: 1.4, confidence: 1, seen: 'whole' },
};

/** Vertical lines: a run of narrow ones, and some wide ones far apart. */
const LINES: readonly (readonly [number, number])[] = [
  ...Array.from({ length: 12 }, (_, n) => [0.8 + 0.6 * n, 1.04 + 0.6 * n] as const),
  ...Array.from({ length: 4 }, (_, n) => [8.6 + 1.8 * n, 9.4 + 1.8 * n] as const),
];

interface Scene {
  readonly seed: number;
  readonly biasUm: number;
  readonly shiftUm: number;
  readonly contrast: number;
  readonly noise: number;
  /** Vias of a neighbouring layer: boxes in the die frame. */
  readonly vias?: readonly (readonly [number, number, number, number])[];
  /** Over that of the layer; null where it could not be told. */
  readonly viaContrast?: number | null;
}

function measure(scene: Scene): MeasuredLayer {
  const { biasUm, shiftUm } = scene;
  const random = gaussian(scene.seed);
  const row = Float64Array.from({ length: grid.width_px }, (_, c) => {
    const x = grid.origin_um[0] + c * PX - shiftUm;
    const blur = 0.036;
    let sum = 0;
    for (const [a, b] of LINES)
      sum += normalTable((x - a + biasUm) / blur) - normalTable((x - b - biasUm) / blur);
    return 1000 + scene.contrast * sum + 0.5 * c;
  });
  const values = Float32Array.from(
    { length: grid.width_px * grid.height_px },
    (_, n) => row[n % grid.width_px]! + scene.noise * random(),
  );
  const shapes = new DrawnShapes(LINES.map(([a, b]) => Float64Array.of(a, 0.2, b, 0.2, b, 9.4, a, 9.4)));
  const portrait = { name: 'metal', first: 0, last: 9, values };
  const input = prepareLayer(process.layers[0]!, span, portrait, shapes, grid, scene.seed);
  // Where no edge tells the blur, that of another layer is used, as the stage does.
  const other = { sdPx: 0.9, uncertaintyPx: 0.02, n: 50, spreadPx: 0.1 };
  const blur = blurOf(blurReadings(input.sites, input.profiles, input.noise!)) ?? other;
  return measureLayer(input, {
    ...{
      grid,
      process,
      basis: 'measured',
      stepUm: PX,
      blur,
      blurFrom: 'edges of this layer',
      neighbours: [],
    },
    scale: { pixelUm: PX, relative: 0, how: '' },
    relativeDepth: 0,
    ...{ placementUm: { x: 0, y: 0 }, seed: scene.seed },
    plugs: (scene.vias ? [scene.vias] : []).map((boxes) => ({
      shapes: new DrawnShapes(boxes.map(([a, b, c, d]) => Float64Array.of(a, b, c, b, c, d, a, d))),
      contrast: scene.viaContrast === null ? null : (scene.viaContrast ?? 2) * Math.abs(scene.contrast),
    })),
  });
}

describe('a layer with known widths', () => {
  it('comes out with intervals that hold, at a contrast-to-noise ratio of 5, bright and dark', {
    timeout: 60_000,
  }, () => {
    let inside = 0;
    let all = 0;
    const z: number[] = [];
    for (let seed = 1; seed <= 8; seed++) {
      const biasUm = 0.002 * (seed - 5);
      const shiftUm = 0.006 * (5 - seed);
      const contrast = seed % 2 === 0 ? 500 : -500;
      const { result } = measure({ seed, biasUm, shiftUm, contrast, noise: 100 });
      expect(result.refused).toEqual([]);
      expect(result.widths.map((q) => Math.round(q.drawn_um! * 1000))).toEqual([240, 800]);
      expect(result.spaces.length).toBeGreaterThanOrEqual(2);
      expect(result.pitches.map((q) => Math.round(q.drawn_um! * 1000))).toContain(600);
      expect(Math.sign(result.image!.contrast)).toBe(Math.sign(contrast));
      const pairs = [
        ...result.widths.map((q) => [q, q.drawn_um! + 2 * biasUm] as const),
        ...result.spaces.map((q) => [q, q.drawn_um! - 2 * biasUm] as const),
        ...result.pitches.map((q) => [q, q.drawn_um!] as const),
        [result.edges!.outward, biasUm] as const,
        [result.edges!.shift_x!, shiftUm] as const,
      ];
      for (const [q, truth] of pairs) {
        all++;
        if (Math.abs(q.value_um - truth) <= q.expanded_um) inside++;
        z.push((q.value_um - truth) / q.uncertainty_um);
        expect(Math.abs(q.value_um - truth) / PX, `seed ${seed} ${q.method} ${q.drawn_um}`).toBeLessThan(
          0.15,
        );
      }
      expect(result.edges!.shift_y).toBeNull();
      // Straight edges: less than what the noise alone would show.
      const rough = result.line_edge_roughness!;
      expect(rough.at_most_um).toBeLessThan(0.8 * rough.as_seen_um);
    }
    expect(inside / all).toBeGreaterThan(0.9);
    // Not padded either: intervals twice as wide as needed would give half of this.
    expect(Math.sqrt(z.reduce((s, v) => s + v * v, 0) / z.length)).toBeGreaterThan(0.6);
  });

  it('lets profiles far from vias speak, and carries the halos of vias where all stand near one', () => {
    const scene = { seed: 3, biasUm: 0, shiftUm: 0, contrast: 500, noise: 100 };
    const halo = ({ result }: MeasuredLayer) =>
      result.widths.map((q) => q.budget.find((c) => c.name === 'halos of vias')?.um ?? 0);
    const free = measure(scene);
    expect(halo(free)).toEqual([0, 0]);
    // Along the lower third of every narrow line; the wide ones have none.
    const onSome = LINES.slice(0, 12).map(([a, b]) => [a, 0.5, b, 3] as const);
    const some = measure({ ...scene, vias: onSome });
    expect(halo(some)).toEqual([0, 0]);
    expect(some.result.widths[0]!.n).toBeLessThan(free.result.widths[0]!.n);
    expect(some.result.widths[1]!.n).toBe(free.result.widths[1]!.n);
    const onAll = LINES.slice(0, 12).map(([a, b]) => [a, 0.2, b, 9.4] as const);
    const [narrow, wide] = halo(measure({ ...scene, vias: onAll }));
    expect(narrow).toBeGreaterThan(0);
    expect(wide).toBe(0);
    // Stronger ones hide the line, as do those of which nobody knows how strong they are.
    for (const viaContrast of [5, null]) {
      const { result } = measure({ ...scene, vias: onAll, viaContrast });
      expect(result.widths.map((q) => Math.round(q.drawn_um! * 1000))).toEqual([800]);
      for (const [what, drawn_um] of [
        ['line width', 0.24],
        ['space', 0.36],
      ]) {
        const reason = expect.stringContaining('stand on all of its profiles');
        expect(result.refused).toContainEqual(expect.objectContaining({ what, drawn_um, reason }));
      }
    }
  });

  it('is refused with the reason where noise hides it', () => {
    const seen = measure({ seed: 3, biasUm: 0, shiftUm: 0, contrast: 500, noise: 100 });
    expect(seen.result.image).not.toBeNull();
    const blind = measure({ seed: 3, biasUm: 0, shiftUm: 0, contrast: 5, noise: 100 });
    expect(blind.result.refused.map((r) => r.reason).join()).toMatch(/do not stand out from the noise/);
    expect([...blind.result.widths, ...blind.result.spaces, ...blind.result.pitches]).toEqual([]);
    expect(blind.result.edges).toBeNull();
  });

  it('is checked against rules and thickness with a verdict only where the whole interval agrees', () => {
    const { result } = measure({ seed: 2, biasUm: 0.01, shiftUm: 0, contrast: 500, noise: 60 });
    const verdicts = Object.fromEntries(result.checks.map((c) => [c.name, c.verdict]));
    expect(verdicts).toEqual({ 'least width': 'kept', 'least space': 'not kept', thickness: 'kept' });
    const narrow = { ...result.widths[0]!, value_um: 0.241, expanded_um: 0.002 };
    const open = checkLayer(process, span, { width: narrow, space: null, vias: [], thickness: null });
    expect(open.map((c) => c.verdict)).toEqual(['open']);
  });
});

describe('thickness', () => {
  it('is the distance of measured faces, with both their uncertainties; nominal heights give none', () => {
    const q = thicknessOf('measured', span, 0.04, 0)!;
    expect(q.value_um).toBeCloseTo(0.39, 12);
    // sqrt(2) x 5 nm and a fifth of 40 nm / sqrt 12.
    expect(q.uncertainty_um).toBeCloseTo(Math.hypot(Math.SQRT2 * 0.005, 0.04 / Math.sqrt(12) / 5), 9);
    // A vertical scale known to 2 %: 7.8 nm of 390 nm.
    const scaled = thicknessOf('measured', span, 0.04, 0.02)!;
    expect(scaled.uncertainty_um ** 2 - q.uncertainty_um ** 2).toBeCloseTo(0.0078 ** 2, 9);
    expect(thicknessOf('nominal', span, 0.04, 0)).toBeNull();
    expect(thicknessOf('measured', { ...span, seen: 'cut' }, 0.04, 0)).toBeNull();
  });
});

describe('materials', () => {
  const layers = (contrast: number) => [{ name: 'metal', contrast, uncertainty: 0.02, stated: 'copper' }];

  it('follow from electron densities: tabulated value less that of oxide', () => {
    // Copper 2.4625, tungsten 4.666, aluminium 0.7834 less silicon dioxide 0.6615 electrons per cubic angstrom.
    const likeliest = (contrast: number, unit = 'e/Å³') =>
      materialsOf(layers(contrast), unit, 6.2).layers[0]!.likeliest;
    expect(likeliest(4.005)).toBe('tungsten');
    expect(likeliest(-1.801)).toMatch(/copper|cobalt/);
    expect(likeliest(0.122)).toBe('aluminium');
    expect(likeliest(9)).toBeNull();
    // Free-electron phase at 6.2 keV: copper 1.388, silicon dioxide 0.373 rad/um.
    expect(likeliest(1.388 - 0.373, 'rad/um')).toMatch(/copper|cobalt/);
    expect(materialsOf(layers(1), 'rad/um', 6.2).basis).toBe('phase');
  });

  it('do not follow from arbitrary greys, nor from a phase without an energy', () => {
    for (const [unit, energy] of [
      ['arbitrary', 6.2],
      ['rad/um', undefined],
      ['1/m', 8],
    ] as const) {
      const found = materialsOf(layers(5), unit, energy);
      expect(found.basis).toBe('contrast only');
      expect(found.layers[0]!.likeliest).toBeNull();
      expect(found.layers[0]!.ratio).toBe(1);
      expect(found.text).toMatch(/only ratios/);
    }
  });
});
