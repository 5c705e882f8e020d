/** An overview: a scan placed before, in which a finer one is said to lie. */
import { apply3 } from '../../../../shared/affine.ts';
import type { CampaignScan } from '../../../../shared/artefacts/campaign.ts';
import type { Placement } from '../../../../shared/artefacts/placement.ts';
import type { Survey } from '../../../../shared/artefacts/survey.ts';
import type { Box } from '../../../../shared/polygon.ts';
import type { VolumeSpec } from '../../../formats/volume/registry.ts';

export interface Overview {
  readonly id: string;
  readonly title: string;
  readonly spec: VolumeSpec;
  readonly survey: Survey;
  readonly mask: Uint8Array | null;
  readonly placement: Placement;
}

/** A fine scan may reach out of its overview by this share of its own width. */
const MAY_REACH_OUT = 0.2;

/** Upright box round the field of the overview at its middle height, die micrometres. */
export function footprintBox({ survey, placement }: Overview): Box {
  const { nx, ny, nz } = survey.shape;
  const corners = [0, nx - 1].flatMap((i) =>
    [0, ny - 1].map((j) => apply3(placement.voxel_to_die_um, [i, j, (nz - 1) / 2])),
  );
  const [xs, ys] = [corners.map((c) => c[0]), corners.map((c) => c[1])];
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

/** Where the middle of a scan lies that is `fieldUm` wide and lies in the overview, die micrometres. */
export function centresInside(overview: Overview, fieldUm: number): Box {
  const box = footprintBox(overview);
  const [x, y] = [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
  const rim = (0.5 - MAY_REACH_OUT) * fieldUm;
  // A scan as large as the overview still has some room.
  const half = (low: number, high: number): number =>
    Math.max((high - low) / 2 - rim, MAY_REACH_OUT * fieldUm);
  const [w, h] = [half(box[0], box[2]), half(box[1], box[3])];
  return [x - w, y - h, x + w, y + h];
}

/**
 * The scan with the overview's word as its hint. A hint of its own is kept where its region is the smaller one.
 */
export function hinted(scan: CampaignScan, centres: Box): CampaignScan {
  const within = Math.max(centres[2] - centres[0], centres[3] - centres[1]) / 2;
  if (scan.near_um && (scan.within_um ?? Infinity) <= within) return scan;
  return {
    ...scan,
    near_um: [(centres[0] + centres[2]) / 2, (centres[1] + centres[3]) / 2],
    within_um: within,
  };
}
