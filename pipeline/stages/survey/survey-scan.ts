/** Survey of one scan: what its files are, how large a voxel is, where the data lie, which slices are broken. */
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import type { Survey } from '../../../shared/artefacts/survey.ts';
import { InputFault } from '../../../shared/errors.ts';
import { openVolume, type VolumeSpec } from '../../formats/volume/registry.ts';
import type { VolumeSource } from '../../formats/volume.ts';
import { percentile } from '../../kernels/statistics.ts';
import type { Progress } from '../../output/progress.ts';
import { acquisitionChecks } from './acquisition-checks.ts';
import { type FieldOfView, findFieldOfView } from './field-of-view.ts';
import { CAMPAIGN_FILE } from './load-campaign.ts';
import { type GreySample, sampleGreys } from './sample-greys.ts';
import { campaignPath, publishedPath, volumeSpec } from './volume-spec.ts';

export interface SurveyedScan {
  readonly scan: CampaignScan;
  readonly spec: VolumeSpec;
  readonly survey: Survey;
  readonly field: FieldOfView;
  /** Robust extremes of each slice; null for a broken one. */
  readonly sliceWindows: GreySample['sliceWindows'];
  /** Files of the volume below the campaign, in slice order. */
  readonly files: readonly string[];
}

export interface VoxelSize {
  readonly x: number;
  readonly y: number;
  readonly z: number;
  readonly source: string;
  readonly notes: readonly string[];
}

export async function surveyScan(
  folder: string,
  scan: CampaignScan,
  progress: Progress,
  signal?: AbortSignal,
  allowOutside = false,
): Promise<SurveyedScan> {
  const spec = await volumeSpec(folder, scan, allowOutside);
  const source = await openVolume(spec, {
    nameOf: (file) => campaignPath(folder, file),
    ...(signal ? { signal } : {}),
  });
  try {
    const voxel = voxelSize(scan, source);
    const { nz } = source.shape;
    const field = await findFieldOfView(source);
    const bar = progress.bar(`survey ${scan.id}`, nz, 'slices');
    const greys = await sampleGreys(source, field, () => bar.advance(), signal);
    bar.finish();
    if (greys.sorted.length === 0 || greys.sorted[0] === greys.sorted.at(-1)) {
      throw new InputFault({
        tag: 'inconsistent',
        file: campaignPath(folder, source.files[0]!),
        expected: 'a volume with structure in it',
        found: 'the same value everywhere',
        remedy: 'Check that the reconstruction was written, and that the right files are named.',
      });
    }
    const at = (share: number) => percentile(greys.sorted, share);
    const grey = greyUnit(scan, source);
    const survey: Survey = {
      version: 1,
      format: source.format,
      files: source.files.length,
      first_file: publishedPath(folder, source.files[0]!),
      last_file: publishedPath(folder, source.files.at(-1)!),
      bytes: source.bytes,
      shape: { ...source.shape },
      type: source.type,
      voxel_nm: { x: voxel.x, y: voxel.y, z: voxel.z },
      voxel_source: voxel.source,
      grey: {
        unit: grey.unit,
        minimum: at(0),
        p1: at(0.01),
        median: at(0.5),
        p99: at(0.99),
        maximum: at(1),
        sampled_voxels: greys.sorted.length,
      },
      nodata: { kind: field.kind, value: field.value, fraction: field.outside },
      broken_slices: [...greys.brokenSlices],
      checks: acquisitionChecks(scan.acquisition, voxel, (nz * voxel.z) / 1000),
      notes: [...source.metadata.notes, ...voxel.notes, ...grey.notes],
    };
    const files = source.files.map((file) => campaignPath(folder, file));
    return { scan, spec, survey, field, sliceWindows: greys.sliceWindows, files };
  } finally {
    await source.close();
  }
}

/**
 * Voxel size: the campaign's word, else the file's. A difference of more than a part in a thousand is noted.
 * @throws InputFault when neither states a size along some axis.
 */
export function voxelSize(scan: CampaignScan, source: VolumeSource): VoxelSize {
  const stated = scan.voxel_nm;
  const told = source.metadata.voxelNm;
  if (stated !== undefined) {
    const [x, y, z] = typeof stated === 'number' ? [stated, stated, stated] : stated;
    const notes: string[] = [];
    for (const [axis, mine, theirs] of [
      ['x', x, told.x],
      ['y', y, told.y],
      ['z', z, told.z],
    ] as const) {
      if (theirs !== null && Math.abs(theirs / mine - 1) > 1e-3) {
        notes.push(
          `Voxel size along ${axis}: campaign.yaml says ${mine} nm, the ${source.metadata.voxelSource} says ` +
            `${Number(theirs.toPrecision(6))} nm. campaign.yaml was followed.`,
        );
      }
    }
    return { x, y, z, source: CAMPAIGN_FILE, notes };
  }
  if (told.x !== null && told.y !== null && told.z !== null) {
    return {
      x: told.x,
      y: told.y,
      z: told.z,
      source: source.metadata.voxelSource ?? source.format,
      notes: [],
    };
  }
  const lacking = (['x', 'y', 'z'] as const).filter((axis) => told[axis] === null);
  throw new InputFault({
    tag: 'inconsistent',
    file: CAMPAIGN_FILE,
    place: `scan "${scan.id}"`,
    expected: 'voxel_nm, or voxel sizes in the files',
    found: `no voxel size along ${lacking.join(', ')}`,
    remedy: 'Add voxel_nm: [x, y, z] to the scan.',
  });
}

/** Unit of the grey values: the campaign's word, else the file's. */
export function greyUnit(
  scan: CampaignScan,
  source: VolumeSource,
): { readonly unit: string; readonly notes: readonly string[] } {
  const told = source.metadata.greyUnit;
  const stated = scan.grey_unit;
  const differs = stated !== undefined && told !== null && told !== stated;
  return {
    unit: stated ?? told ?? 'arbitrary',
    notes: differs
      ? [
          `Grey values: ${CAMPAIGN_FILE} says ${stated}, the file says ${told}. ${CAMPAIGN_FILE} was followed.`,
        ]
      : [],
  };
}
