/** Takes out of finished artefacts what would tell of withheld places and layers. */
import type { Evidence } from '../../../../shared/artefacts/evidence.ts';
import type { Findings } from '../../../../shared/artefacts/findings.ts';
import type { Selftest } from '../../../../shared/artefacts/selftest.ts';
import type { HiddenPlaces } from './hidden-places.ts';

export interface Unspoken {
  readonly places: Pick<HiddenPlaces, 'meets'>;
  /** Names of process layers that are not spoken of. */
  readonly layers: ReadonlySet<string>;
}

/** Findings are counted anew: a gap in the numbers would tell how many are withheld. */
export function shownFindings(findings: Findings, { places, layers }: Unspoken): Findings {
  const told = ({ layer }: { layer: string }) => !layers.has(layer);
  return {
    ...findings,
    judged_area_um2: Object.fromEntries(
      Object.entries(findings.judged_area_um2).filter(([layer]) => told({ layer })),
    ),
    findings: findings.findings
      .filter((finding) => told(finding) && !places.meets(finding.box_um))
      .map((finding, n) => ({ ...finding, id: `F${String(n + 1).padStart(4, '0')}` })),
    fill: findings.fill.filter(told),
    bias: findings.bias?.filter(told),
  };
}

export function shownSelftest(selftest: Selftest, { layers }: Unspoken): Selftest {
  return {
    ...selftest,
    trials: selftest.trials.filter(({ layer }) => !layers.has(layer)),
    size_found_um: Object.fromEntries(
      Object.entries(selftest.size_found_um).filter(([layer]) => !layers.has(layer)),
    ),
  };
}

export function shownEvidence(evidence: Evidence, { places, layers }: Unspoken): Evidence {
  return {
    ...evidence,
    layers: evidence.layers.filter(({ layer }) => !layers.has(layer)),
    residuals: evidence.residuals.filter(
      ({ x_um: x, y_um: y, layer }) => !places.meets([x, y, x, y]) && !(layer && layers.has(layer)),
    ),
  };
}
