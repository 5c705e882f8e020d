/** What the acquisition allows at best: sampling, the cone that laminography leaves out, the number of projections. */
import type { Acquisition } from '../../../shared/artefacts/campaign.ts';
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { wavelengthNm } from '../../../shared/units.ts';

type Resolution = Measurements['resolution'][number];

/**
 * @source Depth limit from the largest k_z = q sin(theta): dr / sin(theta). Sampling of a slab of thickness T by N
 * angles over a full turn: pi (T / N) tan(theta), a half period (Holler et al., Nat. Electron. 2, 464 (2019), as
 * quoted by public implementations). Far-field pixel: lambda z / (N p), as in ptychography libraries.
 */
export function geometryResolution(
  pixelUm: number,
  stepUm: number,
  depthUm: number,
  acquisition: Acquisition | null,
): Resolution[] {
  const base = { method: 'geometry', layer: null, uncertainty_um: null };
  const list: Resolution[] = [
    {
      ...{ ...base, name: 'Voxel', direction: 'in-plane' as const, um: pixelUm },
      text: 'Half period that voxels of this size can carry at most (sampling theorem).',
    },
    {
      ...{ ...base, name: 'Voxel', direction: 'depth' as const, um: stepUm },
      text: 'Half period that slices so far apart can carry at most.',
    },
  ];
  if (!acquisition) return list;
  const { energy_keV, detector_distance_m, detector_pixel_um, detector_pixels } = acquisition;
  let finest = pixelUm;
  if (energy_keV && detector_distance_m && detector_pixel_um && detector_pixels) {
    const um = (wavelengthNm(energy_keV) * detector_distance_m * 1e3) / (detector_pixels * detector_pixel_um);
    finest = um;
    list.push({
      ...{ ...base, name: 'Detector', direction: 'in-plane' as const, um },
      text: 'Half period at the border of the detector: wavelength times distance over its side.',
    });
  }
  const angle = acquisition.laminography_deg;
  if (!angle || angle >= 90) return list;
  const theta = (angle * Math.PI) / 180;
  const lost = 100 * (1 - Math.cos(Math.PI / 2 - theta));
  list.push({
    ...{ ...base, name: 'Missing cone', direction: 'depth' as const, um: finest / Math.sin(theta) },
    text: `Frequencies within ${(90 - angle).toFixed(0)} degrees of the slice normal are not measured (${lost.toFixed(1)} % of all directions); the finest depth is the finest detail in the plane over sin ${angle}°. Wide shapes have no depth at all.`,
  });
  if (acquisition.projections)
    list.push({
      ...{
        ...base,
        ...{ name: 'Projections', direction: 'in-plane' as const },
        um: (Math.PI * depthUm * Math.tan(theta)) / acquisition.projections,
      },
      text: `Half period that ${acquisition.projections} projections over a full turn sample in a slab as thick as the volume; a thicker chip needs more.`,
    });
  return list;
}
