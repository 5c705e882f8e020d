/** The page that says why a placement is believed, and the verdict: their sentences and drawn numbers. */
import { describe, expect, it } from 'vitest';
import { evidenceSchema } from '../../../shared/artefacts/evidence.ts';
import type { Placement } from '../../../shared/artefacts/placement.ts';
import type { ScanArtefacts } from '../../../site/lib/artefacts.ts';
import {
  decoySentence,
  evidenceCurves,
  patchGreys,
  residualArrows,
  runnerUpCaption,
  sureSentences,
} from '../../../site/lib/placement-page.ts';
import { blindSentences, faultSentence, verdictSentence } from '../../../site/lib/verdict-page.ts';

const identity: Placement['voxel_to_die_um'] = [
  [1, 0, 0, 0],
  [0, 1, 0, 0],
  [0, 0, 1, 0],
];
const placement = (score: number | null, runnerUp: number | null): Placement => ({
  version: 1,
  voxel_to_die_um: identity,
  warp: null,
  source: 'automatic',
  verdict: 'locked',
  score,
  runner_up: runnerUp === null ? null : { score: runnerUp, voxel_to_die_um: identity },
  residual_um: { median: 0.006, p95: 0.02, count: 400 },
  uncertainty_um: { x: 0.004, y: 0.008, z: 0.02 },
  seen_from: 'front',
  order: 'top-first',
  method: '',
  doubts: [],
});

describe('how sure a placement is, in words', () => {
  it('states uncertainties in length and in pixels, and what remains', () => {
    const words = sureSentences(placement(0.8, 0.2), 0.02).join(' ');
    expect(words).toContain(
      'good to 4.0\u00a0nm along X and 8.0\u00a0nm along Y (0.20 pixels and 0.40 pixels)',
    );
    expect(words).toContain(
      'At 400 checked places half of what remains between image and drawing is below 6.0\u00a0nm',
    );
  });
  it('says how well the vertical scale is known, where it was told', () => {
    const told = { ...placement(0.8, 0.2), depth_scale_sd: 0.0163 };
    expect(sureSentences(told, 0.02).join(' ')).toContain('The vertical scale is good to 1.6\u00a0%');
    expect(sureSentences(placement(0.8, 0.2), 0.02).join(' ')).not.toContain('vertical scale');
  });
  it.each([
    [0.8, 0.2, '25\u00a0% of it'],
    [0.8, 0.6, 'not far behind'],
    [0.8, 0.79, 'cannot be told apart'],
  ])('a score of %d against %d is said plainly', (score, runnerUp, words) =>
    expect(sureSentences(placement(score, runnerUp), 0.02).join(' ')).toContain(words),
  );
  it('owns up when the numbers are missing', () => {
    const bare = { ...placement(null, null), residual_um: null, uncertainty_um: null };
    expect(sureSentences(bare, 0.02)).toEqual(['No uncertainty was computed for this placement.']);
  });
});

describe('the runner-up', () => {
  const captionOf = (other: Placement['voxel_to_die_um']): string => {
    const place = placement(0.8, 0.3);
    return runnerUpCaption(
      { ...place, runner_up: { score: 0.3, voxel_to_die_um: other } },
      { value: 0.31, dx_um: -1.5, dy_um: 0.25 },
    );
  };
  it.each([
    ['a shift alone', [1, 0, 0, 7], [0, 1, 0, 3], [0, 0, 1, 0], '0.31, away by'],
    [
      'a slight turn, as refining gives',
      [0.999, -0.03, 0, 7],
      [0.03, 0.999, 0, 3],
      [0, 0, 1, 0],
      '0.31, away by',
    ],
    ['a quarter turn', [0, -1, 0, 7], [1, 0, 0, 3], [0, 0, 1, 0], 'turned by 90°, its middle away by'],
    ['a mirror image', [1, 0, 0, 7], [0, -1, 0, 3], [0, 0, 1, 0], 'mirrored, its middle away by'],
    [
      'upside down',
      [1, 0, 0, 7],
      [0, -1, 0, 3],
      [0, 0, -1, 0],
      'mirrored, with the slices in the other order, its',
    ],
  ] as const)('is described where it is %s', (_, x, y, z, words) =>
    expect(captionOf([[...x], [...y], [...z]])).toContain(words),
  );
  it('says how far away it is', () =>
    expect(captionOf(identity)).toContain('−1.50 along X and 0.25\u00a0µm along Y'));
});

describe('evidence', () => {
  const evidence = evidenceSchema.parse({
    version: 1,
    layers: [{ layer: 'metal1', z_um: [0, 1, 2], value: [0, 0.5, 0.1] }],
    peak: null,
    residuals: [],
    decoys: [
      { kind: 'mirrored', score: 0.3 },
      { kind: 'runner-up', score: 0.9 },
    ],
    words: [],
  });
  it('refuses curves and patches whose lengths do not fit', () => {
    const bad = { ...evidence, layers: [{ layer: 'a', z_um: [0, 1], value: [1] }] };
    expect(evidenceSchema.safeParse(bad).success).toBe(false);
    const patch = { pixel_um: 1, width_px: 2, height_px: 2, origin_um: [0, 0], value: [1, 2, 3] };
    const best = { dx_um: 0, dy_um: 0, value: 1 };
    expect(evidenceSchema.safeParse({ ...evidence, peak: { best, patch, runner_up: null } }).success).toBe(
      false,
    );
  });
  it('compares the score with wrong places, the runner-up aside', () => {
    expect(decoySentence(evidence, 0.8)).toContain('it scores 0.30, this placement 0.80');
    expect(decoySentence(evidence, 0.2)).toContain('does not tell right from wrong');
    expect(decoySentence(evidence, null)).toBeNull();
  });
  it('draws curves with their peaks, also below zero', () => {
    const layers = [
      { layer: 'a', z_um: [0, 1, 2], value: [-0.5, 0.5, 0] },
      { layer: 'b', z_um: [], value: [] },
    ];
    const { curves, zeroX } = evidenceCurves(layers, (z) => 10 * z, 100, 200);
    expect(curves).toEqual([{ layer: 'a', points: '100.0,0.0 290.0,10.0 195.0,20.0', peakZ: 1, peak: 0.5 }]);
    expect(zeroX).toBe(195);
  });
  it('maps a patch to greys at a common scale', () => {
    const patch = {
      pixel_um: 1,
      width_px: 2,
      height_px: 2,
      origin_um: [0, 0] as [number, number],
      value: [-1, 0, 0.5, 2],
    };
    expect([...patchGreys(patch, 0, 1)]).toEqual([0, 0, 128, 255]);
  });
  it('enlarges arrows by a round factor', () => {
    const residuals = Array.from({ length: 20 }, () => ({
      x_um: 1,
      y_um: 2,
      dx_um: 0.01,
      dy_um: 0,
      used: true,
    }));
    // A twentieth of 10 µm is 50 times 0.01 µm.
    const { factor, arrows } = residualArrows(residuals, 10);
    expect(factor).toBe(50);
    expect(arrows[0]).toEqual({ x: 1, y: 2, dx: 0.5, dy: 0, used: true });
    expect(residualArrows([], 10)).toEqual({ factor: 1, arrows: [] });
  });
});

describe('the verdict in words', () => {
  const layer = (name: string, judgedUm2: number) => ({
    name,
    judgedUm2,
    fieldUm2: 100,
    share: judgedUm2 / 100,
    why: '',
  });
  const judged = [layer('metal1', 90), layer('metal2', 0)];
  const finding = (kind: string, probability: number) => ({ kind, probability });
  const artefacts = (findings: object[], more: object = {}): ScanArtefacts =>
    ({
      scan: { verdict: 'locked' },
      findings: { judged_area_um2: { metal1: 90 }, findings, fill: [] },
      pictures: { layers: [{ render: {} }] },
      reviews: [],
      selftest: null,
      ...more,
    }) as unknown as ScanArtefacts;

  it('claims no more than was compared', () => {
    expect(verdictSentence(artefacts([]), judged)).toBe(
      'On 1 of 2 layers image and drawing were compared. Within what this scan can show, they agree.',
    );
    expect(
      verdictSentence(
        artefacts([finding('open', 0.95), finding('open', 0.99), finding('wide', 0.4)]),
        judged,
      ),
    ).toBe(
      'On 1 of 2 layers image and drawing were compared. 2 likely differences: 2 opens, and 1 less likely one.',
    );
    expect(verdictSentence(artefacts([finding('wide', 0.4)]), judged)).toContain(
      'No likely difference, 1 less likely one',
    );
  });
  it('names the layers it was blind on, and a self-test that is missing', () => {
    const words = blindSentences(artefacts([]), judged);
    expect(words[0]).toBe('Anything on metal2: this layer was not judged.');
    expect(words.at(-1)).toContain('no self-test');
  });
  it('says opens and shorts with nets and places', () => {
    const fault = {
      nets: ['a', 'b'],
      net_ids: [],
      places: [{ layer: 'metal1', centre_um: [1, 2] as [number, number] }],
      probability: 0.98,
      note: '',
      may_join_outside: false,
    };
    expect(faultSentence(fault, 'short')).toBe('a and b touch: metal1 at 1.00, 2.00 (98 in 100)');
    expect(faultSentence({ ...fault, nets: ['a'], places: [] }, 'open')).toBe('a is broken (98 in 100)');
    expect(faultSentence({ ...fault, note: 'The wire a ends early.', may_join_outside: true }, 'open')).toBe(
      'The wire a ends early (98 in 100). Outside the field another way may still join it.',
    );
  });
});
