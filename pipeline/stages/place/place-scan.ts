/** The place stage for one scan: by landmarks where the campaign gives them, else in the scan's own frame. */
import type { Affine3 } from '../../../shared/affine.ts';
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import { type Placement, unplaced } from '../../../shared/artefacts/placement.ts';
import type { Survey } from '../../../shared/artefacts/survey.ts';
import { fitLandmarks } from '../../kernels/affine-fit.ts';
import { readLandmarks } from './landmarks.ts';

/** Median residual, in voxels, beyond which landmarks do not describe one place. */
const RESIDUAL_LIMIT_VOXELS = 3;

export interface LandmarkFile {
  readonly name: string;
  readonly text: string;
}

export function placeScan(scan: CampaignScan, survey: Survey, landmarks: LandmarkFile | null): Placement {
  return landmarks ? placeByLandmarks(scan, survey, landmarks) : scanFrame(scan, survey);
}

function placeByLandmarks(scan: CampaignScan, survey: Survey, file: LandmarkFile): Placement {
  const points = readLandmarks(file.text, file.name);
  const { voxel_nm } = survey;
  const fit = fitLandmarks(points, {
    voxelUm: [voxel_nm.x / 1000, voxel_nm.y / 1000, voxel_nm.z / 1000],
    order: scan.order,
    seenFrom: scan.seen_from,
    centre: [(survey.shape.nx - 1) / 2, (survey.shape.ny - 1) / 2, (survey.shape.nz - 1) / 2],
    file: file.name,
  });
  const doubts = [...fit.doubts];
  // The mirror image explains the landmarks as well, and nobody said which of the two it is.
  const mirrored = fit.handednessFrom === 'assumption' ? fit.mirrorImage : null;
  const limitUm = (RESIDUAL_LIMIT_VOXELS * voxel_nm.x) / 1000;
  const scattered = fit.residual.median > limitUm;
  if (scattered) {
    doubts.push(
      `The landmarks miss their places by ${fit.residual.median.toFixed(3)} µm in the median, more than ` +
        `${RESIDUAL_LIMIT_VOXELS} voxels: they do not agree on one place.`,
    );
  }
  return {
    version: 1,
    voxel_to_die_um: mutable(fit.voxelToDieUm),
    warp: null,
    source: 'landmarks',
    verdict: scattered || mirrored ? 'ambiguous' : 'locked',
    score: null,
    runner_up: mirrored ? { score: null, voxel_to_die_um: mutable(mirrored) } : null,
    residual_um: fit.residual,
    uncertainty_um: fit.uncertaintyUm,
    depth_scale_sd: fit.depthScaleSd,
    seen_from: fit.seenFrom,
    order: fit.order,
    method: `${points.length} landmarks set by hand, fitted with ${fit.parameters} parameters (${fit.model}). ${fit.why}`,
    doubts,
  };
}

const mutable = (map: Affine3): Placement['voxel_to_die_um'] => [[...map[0]], [...map[1]], [...map[2]]];

/** The scan box in micrometres: X along the rows, Y up the picture, Z along the slices. Says nothing of the die. */
function scanFrame(scan: CampaignScan, survey: Survey): Placement {
  const { ny, nz } = survey.shape;
  const [x, y, z] = [survey.voxel_nm.x / 1000, survey.voxel_nm.y / 1000, survey.voxel_nm.z / 1000];
  const down = scan.order === 'top-first';
  const map: Affine3 = [
    [x, 0, 0, 0],
    [0, -y, 0, (ny - 1) * y],
    down ? [0, 0, -z, (nz - 1) * z] : [0, 0, z, 0],
  ];
  return unplaced(
    mutable(map),
    {
      seen_from: scan.seen_from === 'auto' ? 'unknown' : scan.seen_from,
      order: scan.order === 'auto' ? 'unknown' : scan.order,
    },
    'No placement: the plates stand in the frame of the scan, and no height is a height on the chip.',
    'Where on the die this scan lies is not known. Give landmarks to place it.',
  );
}
