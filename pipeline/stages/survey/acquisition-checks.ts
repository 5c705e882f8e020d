/** Do the numbers of an acquisition agree with each other? Nothing is changed by the answer; it is published. */
import type { Acquisition } from '../../../shared/artefacts/campaign.ts';
import type { Survey } from '../../../shared/artefacts/survey.ts';
import { wavelengthNm } from '../../../shared/units.ts';

type Check = Survey['checks'][number];

/**
 * Pixel size of far-field diffraction imaging in nanometres: lambda z / (N p).
 * @source standard far-field sampling relation, as used by open ptychography libraries.
 */
export function farFieldPixelNm(
  energyKeV: number,
  distanceM: number,
  detectorPixels: number,
  detectorPixelUm: number,
): number {
  return (wavelengthNm(energyKeV) * distanceM * 1e6) / (detectorPixels * detectorPixelUm);
}

/**
 * Projections over a full turn that a slab needs for a half-period resolution: pi T tan(theta) / dr.
 * @source Holler et al., Nat. Electron. 2, 464 (2019), as restated in public reconstruction code; also follows from
 * the spacing of central sections in Fourier space.
 */
export function projectionsForResolution(
  slabUm: number,
  laminographyDeg: number,
  halfPeriodNm: number,
): number {
  return (Math.PI * slabUm * 1000 * Math.tan((laminographyDeg * Math.PI) / 180)) / halfPeriodNm;
}

/** Share of all directions that the missing cone takes: 1 - cos(90 deg - theta). */
export const missingConeShare = (laminographyDeg: number): number =>
  1 - Math.cos(((90 - laminographyDeg) * Math.PI) / 180);

const AGREEMENT = 0.1;

export function acquisitionChecks(
  acquisition: Acquisition | undefined,
  voxelNm: { x: number; y: number; z: number },
  slabUm: number,
): Check[] {
  if (!acquisition) return [];
  const checks: Check[] = [];
  const { energy_keV, detector_distance_m, detector_pixels, detector_pixel_um } = acquisition;
  if (energy_keV && detector_distance_m && detector_pixels && detector_pixel_um) {
    const implied = farFieldPixelNm(energy_keV, detector_distance_m, detector_pixels, detector_pixel_um);
    const agrees = Math.abs(implied / voxelNm.x - 1) <= AGREEMENT;
    checks.push({
      name: 'voxel size',
      verdict: agrees ? 'agrees' : 'odd',
      text:
        `Far-field imaging at ${energy_keV} keV, ${detector_distance_m} m and ${detector_pixels} pixels of ` +
        `${detector_pixel_um} µm gives ${implied.toFixed(2)} nm; the voxel is ${Number(voxelNm.x.toPrecision(6))} nm` +
        `${agrees ? '.' : ' (the volume may be binned, or the technique another one).'}`,
    });
  }
  const theta = acquisition.laminography_deg;
  if (theta && theta < 90 && acquisition.projections) {
    const needed = Math.ceil(projectionsForResolution(slabUm, theta, voxelNm.x));
    const agrees = acquisition.projections >= needed;
    checks.push({
      name: 'projections',
      verdict: agrees ? 'agrees' : 'odd',
      text:
        `A slab of ${slabUm.toFixed(2)} µm at ${theta} degrees asks for ${needed} projections to resolve one voxel; ` +
        `${acquisition.projections} were taken${agrees ? '.' : ', so the resolution is coarser than a voxel.'}`,
    });
  }
  if (theta && theta < 90) {
    checks.push({
      name: 'missing cone',
      verdict: 'note',
      text:
        `Directions within ${(90 - theta).toFixed(1)} degrees of the slice normal were not measured ` +
        `(${(100 * missingConeShare(theta)).toFixed(1)} % of all): wide plates of metal fade, and a uniform film cannot be seen.`,
    });
  }
  return checks;
}
