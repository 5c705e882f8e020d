/** What of a placed scan becomes public: the drawing without what is withheld, the places that are taken out. */

import type { Survey } from '../../shared/artefacts/survey.ts';
import { bytesPerVoxel } from '../formats/volume/sample-types.ts';
import type { VoxelType } from '../formats/volume.ts';
import type { SliceFacts } from '../stages/plate/plate-memory.ts';
import { portraitRanges } from '../stages/plate/portrait-ranges.ts';
import type { PlateJob } from '../stages/plate/write-plates.ts';
import { type HiddenPlaces, hiddenPlaces } from '../stages/publish/withhold/hidden-places.ts';
import {
  shownLayout,
  shownProcess,
  type Withholding,
  withheldLayers,
} from '../stages/publish/withhold/resolve.ts';
import type { LoadedCampaign } from '../stages/survey/load-campaign.ts';
import type { SitedScan } from './site-scan.ts';

export interface PublicScan {
  readonly hidden: HiddenPlaces | null;
  readonly gone: ReturnType<typeof withheldLayers>;
  readonly shown: SitedScan['drawing'];
  readonly job: PlateJob;
}

/** @returns null for a scan that is left out whole, since places are withheld and it is not certain where it lies */
export function publicScan(
  { campaign, folder, process }: Pick<LoadedCampaign, 'campaign' | 'folder' | 'process'>,
  withheld: Withholding,
  sited: SitedScan,
): PublicScan | null {
  const { surveyed, placement, plan, drawing } = sited;
  if (withheld.hidesPlaces && placement.verdict !== 'locked') return null;
  const hidden = withheld.isEmpty
    ? null
    : hiddenPlaces(withheld, drawing?.layout ?? null, plan.grid, placement);
  const { survey, field } = surveyed;
  return {
    hidden,
    gone: withheldLayers(process, withheld),
    shown: drawing && {
      layout: shownLayout(drawing.layout, withheld),
      process: shownProcess(drawing.process, withheld),
    },
    job: {
      ...{ scanId: surveyed.scan.id, spec: surveyed.spec, campaignFolder: folder },
      ...{ brokenSlices: survey.broken_slices, mask: field.mask, hidden: hidden?.image ?? null },
      ...{ voxelToDieUm: placement.voxel_to_die_um, warp: placement.warp, frame: sited.frame },
      ...{ grid: plan.grid, stepUm: plan.stepUm, zUm: plan.zUm, unit: survey.grey.unit },
      ...{ sliceWindows: surveyed.sliceWindows, portraits: portraitRanges(sited.named) },
      tiles: campaign.tiles,
    },
  };
}

/** What a slice of a volume takes in memory. */
export const sliceFacts = ({ shape, type }: Pick<Survey, 'shape' | 'type'>): SliceFacts => ({
  pixels: shape.nx * shape.ny,
  bytesPerVoxel: bytesPerVoxel(type as VoxelType),
  count: shape.nz,
});
