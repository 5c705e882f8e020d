/** How much of each layer was judged, and why the rest could not be. */
import type { ScanArtefacts } from './artefacts.ts';
import { formatPercent } from './numbers.ts';

export interface JudgedLayer {
  readonly name: string;
  readonly judgedUm2: number;
  /** Area of the grid that holds image data. */
  readonly fieldUm2: number;
  /** 0 to 1. */
  readonly share: number;
  /** Why it was not judged, or not wholly; empty where it was. */
  readonly why: string;
}

/** Less than this left out is a rim, not worth a sentence. */
const WHOLE = 0.995;

export function fieldAreaUm2({ plates }: Pick<ScanArtefacts, 'plates'>): number {
  const { width_px, height_px, pixel_um } = plates.grid;
  return width_px * height_px * pixel_um ** 2 * plates.covered;
}

/** Every layer of the scan from the silicon up; empty where there are no findings at all. */
export function judgedLayers(artefacts: ScanArtefacts): JudgedLayer[] {
  const { findings, layers, pictures, scan } = artefacts;
  if (!findings) return [];
  const fieldUm2 = fieldAreaUm2(artefacts);
  const upward = [...layers.layers].sort((a, b) => a.bottom_um - b.bottom_um);
  return upward.map((layer) => {
    const judgedUm2 = findings.judged_area_um2[layer.name] ?? 0;
    // The share of one layer may pass the share of all plates that holds data.
    const share = fieldUm2 > 0 ? Math.min(1, judgedUm2 / fieldUm2) : 0;
    const drawn = pictures?.layers.find((one) => one.name === layer.name)?.render ?? null;
    const why = (() => {
      if (share >= WHOLE) return '';
      if (judgedUm2 > 0)
        return `${formatPercent(1 - share)} of the field was left out: rims, places without data, or too little contrast.`;
      if (scan.verdict !== 'locked') return 'The place of the scan is in doubt, so nothing was judged.';
      if (layer.seen === 'outside') return 'The scan does not reach this layer.';
      if (!drawn) return 'Nothing is drawn on this layer here.';
      if (layer.seen === 'cut') return 'The scan ends inside this layer.';
      return 'The image of this layer does not tell drawn from not drawn well enough.';
    })();
    return { name: layer.name, judgedUm2, fieldUm2, share, why };
  });
}

/** Why a scan has no findings to show, or null where it has been compared. */
export function notCompared(artefacts: ScanArtefacts): string | null {
  const { findings, scan, pictures } = artefacts;
  const judged = findings ? Object.values(findings.judged_area_um2).some((area) => area > 0) : false;
  if (judged || (findings?.findings.length ?? 0) > 0) return null;
  if (scan.verdict === 'unplaced') {
    return 'This scan has no place in the layout, so there is no drawing to compare it with. Nothing was judged.';
  }
  if (scan.verdict === 'ambiguous') {
    return 'The place of this scan is in doubt. A comparison with the wrong part of the drawing would report differences that are none, so nothing was judged.';
  }
  if (!pictures?.layers.some((layer) => layer.render !== null)) {
    return 'There is no drawing for this scan, so nothing could be compared.';
  }
  return findings
    ? 'The comparison ran, and could judge no layer of this scan.'
    : 'This folio was built without a comparison of image and drawing.';
}
