/** The lines of a scan's record: name and value, ready to print. */
import type { Acquisition } from '../../shared/artefacts/campaign.ts';
import type { Placement } from '../../shared/artefacts/placement.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';
import type { Survey } from '../../shared/artefacts/survey.ts';
import { wavelengthNm } from '../../shared/units.ts';
import { heightDecimals } from './depth.ts';
import {
  formatBytes,
  formatCount,
  formatFigures,
  formatFixed,
  formatLength,
  formatPercent,
} from './numbers.ts';

export type Fact = readonly [name: string, value: string];
const NBSP = '\u00a0';

export function acquisitionFacts(acquisition: Acquisition): Fact[] {
  const facts: Fact[] = [];
  const say = <T>(name: string, value: T | undefined, words: (value: T) => string): void => {
    if (value !== undefined) facts.push([name, words(value)]);
  };
  say('Technique', acquisition.technique, String);
  say('Facility', acquisition.facility, String);
  say('Date', acquisition.date, String);
  say('Photon energy', acquisition.energy_keV, (keV) => {
    const wavelength = formatFigures(wavelengthNm(keV) * 1000, 4);
    return `${keV}${NBSP}keV (wavelength ${wavelength}${NBSP}pm)`;
  });
  say('Beam to rotation axis', acquisition.laminography_deg, (deg) =>
    deg === 90
      ? `${deg}° (tomography)`
      : `${deg}° (laminography, missing cone of ${formatFigures(90 - deg, 3)}°)`,
  );
  say('Projections', acquisition.projections, formatCount);
  say('Detector pixel', acquisition.detector_pixel_um, (um) => formatLength(um));
  say('Detector distance', acquisition.detector_distance_m, (m) => `${m}${NBSP}m`);
  say('Detector pixels used', acquisition.detector_pixels, (side) => `${side} × ${side}`);
  say('Time per projection', acquisition.seconds_per_projection, (s) => `${s}${NBSP}s`);
  if (acquisition.projections !== undefined && acquisition.seconds_per_projection !== undefined) {
    const hours = (acquisition.projections * acquisition.seconds_per_projection) / 3600;
    facts.push(['Exposure in all', `${formatFigures(hours, 3)}${NBSP}h`]);
  }
  say('Dose', acquisition.dose_Gy, (gray) => `${formatFigures(gray, 3)}${NBSP}Gy`);
  say('Notes', acquisition.notes, String);
  return facts;
}

export function fileFacts(survey: Survey): Fact[] {
  const { shape, voxel_nm: voxel, nodata, broken_slices: broken } = survey;
  const outside = `${formatPercent(nodata.fraction, 1)} of a slice`;
  return [
    ['Format', survey.format],
    [
      'Files',
      survey.files === 1
        ? survey.first_file
        : `${formatCount(survey.files)}, from ${survey.first_file} to ${survey.last_file}`,
    ],
    ['Size', formatBytes(survey.bytes)],
    [
      'Voxels',
      `${formatCount(shape.nx)} × ${formatCount(shape.ny)} × ${formatCount(shape.nz)} (columns, rows, slices)`,
    ],
    ['Number type', survey.type],
    ['Voxel size', `${voxel.x} × ${voxel.y} × ${voxel.z}${NBSP}nm, from ${survey.voxel_source}`],
    [
      'No data',
      nodata.kind === 'none'
        ? 'every voxel holds data'
        : `${nodata.kind === 'nan' ? 'not-a-number' : `the constant ${nodata.value}`}, ${outside}`,
    ],
    ['Broken slices', broken.length === 0 ? 'none' : `${broken.join(', ')}, left out of the plates`],
  ];
}

export function placementFacts(placement: Placement): Fact[] {
  const { residual_um: residual, uncertainty_um: sd } = placement;
  const facts: Fact[] = [
    [
      'Source',
      { automatic: 'automatic', landmarks: 'landmarks set by hand', none: 'none' }[placement.source],
    ],
    [
      'Seen from',
      { front: 'the front', back: 'the back (mirrored)', unknown: 'unknown' }[placement.seen_from],
    ],
    [
      'Order of slices',
      { 'top-first': 'top metal first', 'bottom-first': 'silicon first', unknown: 'unknown' }[
        placement.order
      ],
    ],
  ];
  if (placement.score !== null) facts.push(['Score', `${formatFigures(placement.score, 3)} of 1`]);
  if (placement.runner_up) {
    const { score } = placement.runner_up;
    facts.push([
      'Runner-up',
      score === null ? 'another place, without a score' : `${formatFigures(score, 3)} of 1`,
    ]);
  }
  if (residual) {
    facts.push([
      'Residuals',
      `median ${formatLength(residual.median, 2)}, 95 % below ${formatLength(residual.p95, 2)}, of ${formatCount(residual.count)} points`,
    ]);
  }
  if (sd) {
    facts.push([
      'Standard uncertainty',
      `X ${formatLength(sd.x, 2)}, Y ${formatLength(sd.y, 2)}, Z ${formatLength(sd.z, 2)}`,
    ]);
  }
  if (placement.depth_scale_sd !== undefined) {
    facts.push(['Of lengths in depth', `${formatPercent(placement.depth_scale_sd, 1)} of each`]);
  }
  return facts;
}

export function plateFacts(plates: Plates): Fact[] {
  const { grid, tiles } = plates;
  const decimals = heightDecimals(plates.step_um);
  const count = plates.z_um.length;
  const facts: Fact[] = [
    ['Frame', plates.frame === 'die' ? 'die frame' : 'scan frame: no placement'],
    [
      'Pixels',
      `${formatCount(grid.width_px)} × ${formatCount(grid.height_px)}, ${formatLength(grid.pixel_um)} each`,
    ],
    [
      'Upper left pixel',
      `X ${formatFixed(grid.origin_um[0], 3)}, Y ${formatFixed(grid.origin_um[1], 3)}${NBSP}µm`,
    ],
  ];
  if (count > 1) {
    facts.push([
      'Plates',
      `${formatCount(count)}, from ${formatFixed(plates.z_um[0]!, decimals)} to ${formatFixed(plates.z_um[count - 1]!, decimals)}${NBSP}µm`,
    ]);
    facts.push(['Distance of plates', formatLength(plates.step_um)]);
  }
  facts.push(['Covered by data', formatPercent(plates.covered, 1)]);
  facts.push([
    'Tiles',
    tiles.layout === 'packed-tiff'
      ? `packed, a tiled TIFF per picture, ${tiles.tile_px} px, JPEG`
      : `Deep Zoom, ${tiles.tile_px} px, ${tiles.format}`,
  ]);
  return facts;
}

/** One value, or the range over all plates. */
function span(values: readonly number[], figures: number): string {
  const [low, high] = [Math.min(...values), Math.max(...values)].map((value) =>
    formatFigures(value, figures),
  );
  return low === high ? `${low}` : `${low} to ${high}`;
}

export function greyFacts(plates: Plates, survey: Survey | null): Fact[] {
  const unit = (name: string): string => (name === 'arbitrary' ? '' : `${NBSP}${name}`);
  const { grey } = plates;
  const facts: Fact[] = [
    ['Unit', grey.unit],
    [
      'Shown as black',
      `${span(
        grey.windows.map((w) => w.black),
        4,
      )}${unit(grey.unit)}`,
    ],
    [
      'Shown as white',
      `${span(
        grey.windows.map((w) => w.white),
        4,
      )}${unit(grey.unit)}`,
    ],
    [
      'One grey step',
      `${span(
        grey.windows.map((w) => (w.white - w.black) / 255),
        3,
      )}${unit(grey.unit)}`,
    ],
    [
      'In between',
      'linear; every plate has its own black and white, so that faint metals are seen beside bright ones',
    ],
  ];
  if (survey) {
    const { grey: seen } = survey;
    facts.push([
      'In the files',
      `minimum ${formatFigures(seen.minimum, 3)}, 1 % ${formatFigures(seen.p1, 3)}, median ${formatFigures(seen.median, 3)}, 99 % ${formatFigures(seen.p99, 3)}, maximum ${formatFigures(seen.maximum, 3)}`,
    ]);
    facts.push(['Voxels sampled', formatCount(seen.sampled_voxels)]);
  }
  return facts;
}
