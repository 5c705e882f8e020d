/** What the measurements page prints and plots. */
import { describe, expect, it } from 'vitest';
import { quantitySchema } from '../../../shared/artefacts/measurements.ts';
import {
  biasSeries,
  plusMinus,
  quantityRows,
  roughnessWords,
  thin,
} from '../../../site/lib/measurement-rows.ts';
import { PLOT, plotRange, plotScale, polylines } from '../../../site/lib/plot.ts';

const NBSP = '\u00a0';
const quantity = (drawn: number, value: number, half: number) =>
  quantitySchema.parse({
    ...{
      drawn_um: drawn,
      value_um: value,
      n: 20,
      shapes: 4,
      median_um: value,
      sd_um: 0.01,
      method: 'line-width',
    },
    ...{ uncertainty_um: half / 2, dof: null, expanded_um: half, budget: [] },
  });
const layer = {
  ...{
    name: 'metal1',
    role: 'conductor',
    width: null,
    space: null,
    pitch: null,
    via_size: null,
    thickness: null,
  },
  ...{
    widths: [quantity(0.14, 0.152, 0.006)],
    spaces: [quantity(0.14, 0.129, 0.005)],
    pitches: [],
    vias: [],
  },
  ...{
    edges: null,
    line_edge_roughness: null,
    line_width_roughness: null,
    image: null,
    checks: [],
    refused: [],
  },
} as const;
const measured = (layers: (typeof layer)[]) => ({ layers }) as unknown as Parameters<typeof biasSeries>[0];

describe('printed lengths', () => {
  it('show two figures of the interval, and the value to the same place (JCGM 100:2008, 7.2.6)', () => {
    const said = (text: string) => text.replaceAll(' ', NBSP);
    expect(plusMinus(0.152, 0.0123)).toBe(said('152 ± 12 nm'));
    expect(plusMinus(0.1524, 0.0061)).toBe(said('152.4 ± 6.1 nm'));
    expect(plusMinus(0.1524, 0.00061)).toBe(said('152.40 ± 0.61 nm'));
    expect(plusMinus(-0.0031, 0.0042)).toBe(said('\u22123.1 ± 4.2 nm'));
    expect(plusMinus(1.13, 0.112)).toBe(said('1130 ± 112 nm'));
  });

  it('say of a roughness whether it stands out', () => {
    const one = { as_seen_um: 0.03, length_um: 1, step_um: 0.04, n: 9, method: 'line-edge-roughness' };
    expect(roughnessWords({ ...one, three_sigma_um: 0.012, at_most_um: 0.014, resolved: true })).toMatch(
      /^12\.0/,
    );
    expect(roughnessWords({ ...one, three_sigma_um: 0, at_most_um: 0.014, resolved: false })).toMatch(
      /^not told/,
    );
    expect(roughnessWords(null)).toBe('–');
  });
});

describe('rows and series', () => {
  it('list the quantities of a layer in a fixed order', () => {
    const rows = quantityRows(layer as unknown as Parameters<typeof quantityRows>[0]);
    expect(rows.map((r) => r.what)).toEqual(['Line width', 'Space']);
  });

  it('plot imaged less drawn, in nanometres, leaving out kinds without values', () => {
    const series = biasSeries(measured([layer]));
    expect(series.map((s) => s.name)).toEqual(['line width', 'space']);
    expect(series[0]!.x[0]).toBeCloseTo(140, 9);
    expect(series[0]!.y[0]).toBeCloseTo(12, 9);
    expect(series[1]!.y[0]).toBeCloseTo(-11, 9);
    expect(series[0]!.half![0]).toBeCloseTo(6, 9);
  });

  it('thin long lists evenly', () => {
    expect(thin([1, 2, 3], 10)).toEqual([1, 2, 3]);
    expect(
      thin(
        Array.from({ length: 10 }, (_, n) => n),
        5,
      ),
    ).toEqual([0, 2, 4, 6, 8]);
  });
});

describe('plots', () => {
  it('place values on the area, larger ones higher', () => {
    const series = { name: 'a', x: [0, 10], y: [0, 1], look: 'line' as const };
    const scale = plotScale([series], PLOT, { x: [0, 10], y: [0, 1] });
    expect([scale.placeX(0), scale.placeX(10), scale.placeY(0), scale.placeY(1)]).toEqual([
      PLOT.left,
      PLOT.right,
      PLOT.bottom,
      PLOT.top,
    ]);
    expect(polylines(series, scale, PLOT)).toEqual(['52.0,258.0 508.0,12.0']);
  });

  it('break lines outside the area, and give a single value some room', () => {
    const series = { name: 'a', x: [0, 1, 2, 3, 4], y: [0, 0.5, 9, 0.5, 1], look: 'line' as const };
    const scale = plotScale([series], PLOT, { x: [0, 4], y: [0, 1] });
    expect(polylines(series, scale, PLOT).length).toBe(2);
    const [low, high] = plotRange([5]);
    expect(low).toBeLessThan(5);
    expect(high).toBeGreaterThan(5);
    expect(plotRange([])).toEqual([0, 1]);
  });
});
