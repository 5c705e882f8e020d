/** Findings on the page: words, choice, order, hit rates and what was not judged. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { findingKinds } from '../../../shared/artefacts/findings.ts';
import type { ScanArtefacts } from '../../../site/lib/artefacts.ts';
import { findingCamera, findingFragment, plateOfLayer } from '../../../site/lib/finding-place.ts';
import {
  type FindingKind,
  KIND_ORDER,
  kindCount,
  kindMeaning,
  oddsWords,
  timesInHundred,
} from '../../../site/lib/finding-words.ts';
import {
  encodeTable,
  FIRST_STATE,
  JUDGED_STATES,
  matchesTable,
  parseTable,
  SORT_KEYS,
  sortRows,
  type TableRow,
} from '../../../site/lib/findings-filter.ts';
import { biasSentence, fillSentence } from '../../../site/lib/findings-page.ts';
import { rateGroups, rateSentence, rateSummary, trialFor } from '../../../site/lib/hit-rate.ts';
import { judgedLayers, notCompared } from '../../../site/lib/judged.ts';
import { parseState } from '../../../site/lib/permalink.ts';
import { fine, layerSpans, plateLabel } from '../../fixtures/folio/facts.ts';

describe('words', () => {
  it('has a name and a meaning for every kind of the contract', () => {
    expect([...KIND_ORDER].sort()).toEqual([...findingKinds].sort());
    for (const kind of findingKinds) expect(kindMeaning(kind)).toMatch(/\.$/);
    expect(kindCount('missing-via', 1)).toBe('1 missing via');
    expect(kindCount('bridge', 3)).toBe('3 bridges');
  });

  it.each([
    [0, 'less than 1 in 100'],
    [0.0049, 'less than 1 in 100'],
    [0.005, '1 in 100'],
    [0.975, '98 in 100'],
    [0.9949, '99 in 100'],
    [0.995, 'more than 99 in 100'],
    [1, 'more than 99 in 100'],
  ])('%d is %s: never none and never all', (probability, words) =>
    expect(oddsWords(probability)).toBe(words),
  );

  it.each([
    [39, 40, '97 times in 100'],
    [1, 3, '33 times in 100'],
    [999, 1000, '99 times in 100'],
    [40, 40, 'every time in 40 trials'],
    [0, 20, 'not once in 20 trials'],
    [0, 0, 'never tried'],
  ])('%d of %d is %s: rounded towards the worse', (found, planted, words) =>
    expect(timesInHundred(found, planted)).toBe(words),
  );
});

const trial = (kind: FindingKind, layer: string, size_um: number, found = 9, planted = 10) => ({
  kind,
  layer,
  size_um,
  found,
  planted,
  low: 0.5,
  high: 1,
});

describe('hit rates', () => {
  const trials = [
    trial('open', 'metal1', 0.4),
    trial('open', 'metal1', 0.1, 2),
    trial('open', 'metal1', 0.2, 5),
    trial('open', 'metal2', 0.05),
    trial('missing-via', 'via1', 0.2, 0, 0),
  ];
  it('takes the size at or below a finding, else the smallest', () => {
    expect(trialFor(trials, 'open', 'metal1', 0.39)?.size_um).toBe(0.4);
    expect(trialFor(trials, 'open', 'metal1', 0.3)?.size_um).toBe(0.2);
    expect(trialFor(trials, 'open', 'metal1', 0.01)?.size_um).toBe(0.1);
  });
  it('never speaks of another layer, another kind, or a size that was not tried', () => {
    expect(trialFor(trials, 'bridge', 'metal1', 1)).toBeNull();
    expect(trialFor(trials, 'open', 'metal3', 1)).toBeNull();
    expect(trialFor(trials, 'missing-via', 'via1', 1)).toBeNull();
  });
  it('groups by layer from the silicon up, sizes rising', () => {
    const groups = rateGroups(trials, ['metal1', 'via1', 'metal2']);
    expect(groups.map((group) => group.layer)).toEqual(['metal1', 'via1', 'metal2']);
    expect(groups[0]!.trials.map((one) => one.size_um)).toEqual([0.1, 0.2, 0.4]);
  });
  it('says it in a sentence', () => {
    expect(rateSentence(trial('extra-via', 'via2', 0.25, 39, 40))).toBe(
      'On this scan, an extra via of 250\u00a0nm on via2 is found 97 times in 100.',
    );
  });
  it('expects false alarms in proportion to the judged area', () => {
    const words = rateSummary(
      {
        version: 1,
        trials: [],
        precision: 0.979,
        false_per_1000um2: { value: 0.5, low: 0.1, high: 1.5 },
        size_found_um: {},
      },
      4000,
    );
    // 0.5 in 1000 µm² over 4000 µm² is 2, at most 6.
    expect(words[0]).toContain('97 had been planted');
    expect(words[2]).toContain('that makes 2.0 expected, at most 6.0');
  });
});

const rows = fc.array(
  fc.record<TableRow>({
    id: fc.integer({ min: 0, max: 99_999 }).map((n) => `F${String(n).padStart(4, '0')}`),
    layer: fc.constantFrom('metal1', 'via1'),
    level: fc.nat({ max: 9 }),
    kind: fc.constantFrom(...KIND_ORDER),
    probability: fc.double({ min: 0, max: 1, noNaN: true }),
    areaUm2: fc.double({ min: 0, max: 10, noNaN: true }),
    nets: fc.array(fc.constantFrom('clk', 'RST', '=x'), { maxLength: 2 }),
    judged: fc.constantFrom(...JUDGED_STATES),
  }),
  { maxLength: 30 },
);
const state = fc.record({
  layer: fc.option(fc.constantFrom('metal1', 'a&b=c')),
  kind: fc.option(fc.constantFrom(...KIND_ORDER)),
  odds: fc.nat({ max: 100 }),
  net: fc.constantFrom('', 'cl', 'a b&c#d'),
  judged: fc.option(fc.constantFrom(...JUDGED_STATES)),
  sort: fc.constantFrom(...SORT_KEYS),
  falling: fc.boolean(),
});

describe('the choice of a table', () => {
  it('comes back from its address', () => {
    fc.assert(
      fc.property(state, (one) => {
        expect(parseTable(encodeTable(one))).toEqual(one);
      }),
      { seed: 3, numRuns: 300 },
    );
    expect(encodeTable(FIRST_STATE)).toBe('');
  });
  it('never throws on any address, and shows all where nothing is asked', () => {
    fc.assert(
      fc.property(fc.string(), rows, (text, some) => {
        const read = parseTable(`#${text}`);
        expect(SORT_KEYS).toContain(read.sort);
        expect(some.every((row) => matchesTable(FIRST_STATE, row))).toBe(true);
      }),
      { seed: 4, numRuns: 200 },
    );
  });
  it('sorts without losing a row, the same from any order, falling against rising but for equals', () => {
    fc.assert(
      fc.property(state, rows, (one, some) => {
        const unique = [...new Map(some.map((row) => [row.id, row])).values()];
        const sorted = sortRows(one, unique);
        expect(new Set(sorted)).toEqual(new Set(unique));
        expect(sortRows(one, unique.toReversed())).toEqual(sorted);
      }),
      { seed: 5, numRuns: 200 },
    );
  });
  it('finds a net by any part of its name, in any case', () => {
    const row = { nets: ['clk_div3'], probability: 0.9 } as unknown as TableRow;
    expect(matchesTable({ ...FIRST_STATE, net: 'DIV' }, row)).toBe(true);
    expect(matchesTable({ ...FIRST_STATE, net: 'rst' }, row)).toBe(false);
    // 0.8951 is said as 90 in 100, and must stand under "90 or more".
    const edge = { nets: [], probability: 0.8951 } as unknown as TableRow;
    expect(matchesTable({ ...FIRST_STATE, odds: 90 }, edge)).toBe(true);
    expect(matchesTable({ ...FIRST_STATE, odds: 91 }, edge)).toBe(false);
  });
});

const layers = {
  version: 1 as const,
  basis: 'measured' as const,
  layers: [...layerSpans],
  plates: fine.zUm.map((z, n) => plateLabel(z, n)),
};

describe('the place of a finding', () => {
  const finding = {
    id: 'F0001',
    kind: 'open' as const,
    layer: 'metal2',
    centre_um: [107, 85] as [number, number],
    box_um: [106.9, 84.8, 107.1, 85.2] as [number, number, number, number],
    area_um2: 0.08,
    probability: 1,
    nets: [],
    note: '',
  };
  it('is a view around it, never wider than the grid and never a heap of pixels', () => {
    expect(findingCamera(finding, fine.grid)).toEqual({
      xUm: 107,
      yUm: 85,
      widthUm: expect.closeTo(7 * 0.4, 9),
    });
    const tiny = { ...finding, box_um: [107, 85, 107, 85] as [number, number, number, number] };
    expect(findingCamera(tiny, fine.grid).widthUm).toBeCloseTo(48 * 0.05);
    const huge = { ...finding, box_um: [100, 80, 115, 90] as [number, number, number, number] };
    expect(findingCamera(huge, fine.grid).widthUm).toBe(15);
  });
  it('goes to the middle plate of its layer, and to none where the scan does not reach it', () => {
    // metal2 holds the plates 2.2, 2.4 and 2.6.
    expect(plateOfLayer(layers, 'metal2')).toBe(11);
    expect(plateOfLayer(layers, 'metal4')).toBeNull();
    expect(plateOfLayer(layers, 'metal9')).toBeNull();
  });
  it('stands in the address so that the viewer reads it', () => {
    expect(parseState(findingFragment(finding, layers, fine.grid))).toEqual({
      zUm: 2.4,
      xUm: 107,
      yUm: 85,
      widthUm: 2.8,
      finding: 'F0001',
    });
  });
});

describe('what was judged', () => {
  const artefacts = (more: object): ScanArtefacts =>
    ({
      scan: { verdict: 'locked' },
      plates: { grid: fine.grid, covered: 0.5 },
      layers,
      pictures: { layers: layerSpans.map(({ name }) => ({ name, render: name === 'via1' ? null : {} })) },
      findings: { judged_area_um2: { metal1: 75, metal2: 30 }, findings: [], fill: [] },
      ...more,
    }) as unknown as ScanArtefacts;

  it('is stated as a share of the field that holds data, with the reason for the rest', () => {
    const judged = new Map(judgedLayers(artefacts({})).map((layer) => [layer.name, layer]));
    // 300 x 200 pixels of 0.05 µm are 150 µm², half of them with data.
    expect(judged.get('metal1')).toMatchObject({
      share: expect.closeTo(1, 9),
      fieldUm2: expect.closeTo(75, 9),
      why: '',
    });
    expect(judged.get('metal2')!.share).toBeCloseTo(0.4);
    expect(judged.get('metal2')!.why).toContain('60\u00a0% of the field was left out');
    expect(judged.get('metal4')!.why).toBe('The scan does not reach this layer.');
    expect(judged.get('metal3')!.why).toBe('The scan ends inside this layer.');
    expect(judged.get('via1')!.why).toBe('Nothing is drawn on this layer here.');
    expect(judged.get('poly')!.why).toContain('does not tell drawn from not drawn');
  });
  it('is nothing where the place is in doubt or there is no comparison, and says why', () => {
    expect(notCompared(artefacts({}))).toBeNull();
    expect(notCompared(artefacts({ findings: null }))).toContain('without a comparison');
    const empty = { judged_area_um2: {}, findings: [], fill: [] };
    expect(notCompared(artefacts({ findings: empty }))).toContain('could judge no layer');
    expect(notCompared(artefacts({ findings: empty, scan: { verdict: 'ambiguous' } }))).toContain('in doubt');
    expect(notCompared(artefacts({ findings: null, scan: { verdict: 'unplaced' } }))).toContain('no place');
    expect(notCompared(artefacts({ findings: null, pictures: { layers: [] } }))).toContain('no drawing');
  });
});

it('fill is a sentence with size, pitch and place', () => {
  const fill = {
    layer: 'metal1',
    count: 12_345,
    size_um: [0.6, 0.6] as [number, number],
    pitch_um: [1.2, 1.8] as [number, number],
    box_um: [1, 2, 9, 8] as [number, number, number, number],
  };
  expect(fillSentence(fill)).toBe(
    'metal1: 12\u202f345 squares of 600\u00a0nm, repeating every 1.20\u00a0µm along X and 1.80\u00a0µm along Y, within X 1.0 to 9.0 and Y 2.0 to 8.0\u00a0µm.',
  );
});

it('a bias is a sentence with both directions and how sure it is', () => {
  const bias = { layer: 'metal1', widening_um: 0.012, widening_sd_um: 0.002, shift_sd_um: null };
  expect(biasSentence({ ...bias, shift_um: [0.004, -0.03] })).toBe(
    'metal1: edges stand 12\u00a0nm outside the drawn ones (± 2.0\u00a0nm); the layer lies 4.0\u00a0nm to the right and 30\u00a0nm down.',
  );
  expect(biasSentence({ ...bias, widening_um: -0.01, widening_sd_um: null, shift_um: [0, 0] })).toBe(
    'metal1: edges stand 10\u00a0nm inside the drawn ones; the layer is not shifted.',
  );
});
