/** What `check` tells of a campaign: what is there, what is missing, what does not fit, how big the build will be. */
import { resolve } from 'node:path';
import type { CampaignScan } from '../../../shared/artefacts/campaign.ts';
import { totalTiles } from '../../../shared/pyramid.ts';
import { pictureSize } from '../../formats/picture.ts';
import { openVolume } from '../../formats/volume/registry.ts';
import { formatBytes, formatSeconds } from '../../output/progress.ts';
import { defaultThreads } from '../../workers/pool.ts';
import { acquisitionChecks } from './acquisition-checks.ts';
import type { LoadedCampaign } from './load-campaign.ts';
import type { LoadedLayout } from './load-layout.ts';
import { picturePixelUm } from './picture-pixel.ts';
import { greyUnit, voxelSize } from './survey-scan.ts';
import { campaignPath, volumeSpec } from './volume-spec.ts';

/** Bytes a plate pixel takes in all pyramid levels together, measured on the demo (tests/bench/results.md). */
const TILE_BYTES_PER_PIXEL = 0.57;
/** Plate pixels that one thread resamples and encodes in a second, measured on the demo (tests/bench/results.md). */
const PIXELS_PER_SECOND = 2.7e6;
/** Seconds for the survey, the renders, the pages and the checksums of a small folio. */
const OVERHEAD_SECONDS = 6;

/** @returns lines of text, without colour */
export function describeCampaign({ campaign, process }: LoadedCampaign): string[] {
  return [
    campaign.title,
    row('creators', campaign.creators.map((c) => c.name).join('; ') || 'none named'),
    row('licence', campaign.licence ?? 'none stated'),
    row('chip', campaign.chip.name),
    row(
      'process',
      process
        ? `${process.name}, ${process.layers.length} layers`
        : 'no process table: plates get heights, no layer names',
    ),
  ];
}

export function describeLayout(layout: LoadedLayout, process: LoadedCampaign['process']): string[] {
  const box = layout.boxUm;
  const lines = [
    '',
    `Layout ${layout.file}`,
    row(
      'format',
      `${layout.layout.format.toUpperCase()}, ${formatBytes(layout.bytes)}, ${layout.layout.cells.size} cells, top ${layout.top}`,
    ),
    row(
      'extent',
      box ? `x ${fix(box[0])} to ${fix(box[2])}, y ${fix(box[1])} to ${fix(box[3])} µm` : 'empty',
    ),
    row('labels', labelWords(layout)),
    ...layout.layout.notes.map((note) => row('note', note)),
  ];
  if (process) {
    lines.push('', '  process layer   height, µm         drawn as          shapes (stored / opened out)');
    for (const layer of [...process.layers].reverse()) {
      const counts = layer.drawn.map(
        (d) => layout.shapes.get(d as `${number}/${number}`) ?? { stored: 0, flat: 0 },
      );
      const stored = counts.reduce((sum, c) => sum + c.stored, 0);
      const flat = counts.reduce((sum, c) => sum + c.flat, 0);
      const height = `${fix(layer.bottom_um)} to ${fix(layer.bottom_um + layer.thickness_um)}`;
      const shapes = layer.drawn.length === 0 ? 'not drawn' : `${stored} / ${flat}`;
      lines.push(
        `  ${layer.name.padEnd(15)} ${height.padEnd(18)} ${layer.drawn.join(' ').padEnd(17)} ${shapes}`,
      );
    }
  }
  const unused = layout.fit?.unused ?? [];
  if (unused.length > 0) {
    lines.push('', '  In the layout, but of no process layer (boundaries and implants are normal here):');
    for (const entry of unused) lines.push(`  ${entry.drawn.padEnd(15)} ${entry.shapes} shapes`);
  }
  return lines;
}

/** Reads headers only. */
export async function describeScan(
  folder: string,
  scan: CampaignScan,
  allowOutside = false,
): Promise<string[]> {
  const lines = ['', `Scan ${scan.id}${scan.title ? `: ${scan.title}` : ''}`];
  if (scan.image) return [...lines, ...(await describePicture(folder, scan, scan.image.file))];
  const source = await openVolume(await volumeSpec(folder, scan, allowOutside), {
    nameOf: (file) => campaignPath(folder, file),
  });
  try {
    const { nx, ny, nz } = source.shape;
    const voxel = voxelSize(scan, source);
    const threads = defaultThreads();
    const side = (n: number, nm: number) => fix((n * nm) / 1000);
    const tiles = totalTiles({ width: nx, height: ny, tilePx: 256 }) * nz;
    lines.push(
      row('files', `${source.files.length} (${source.format.toUpperCase()}), ${formatBytes(source.bytes)}`),
      row('voxels', `${nx} x ${ny} x ${nz} ${source.type}`),
      row('voxel size', `${voxel.x} x ${voxel.y} x ${voxel.z} nm (${voxel.source})`),
      row('extent', `${side(nx, voxel.x)} x ${side(ny, voxel.y)} x ${side(nz, voxel.z)} µm`),
      row(
        'placement',
        scan.placement
          ? `by ${scan.placement.landmarks}`
          : 'none given: plates will stand in the frame of the scan',
      ),
      row('folio', `about ${formatBytes(nx * ny * nz * TILE_BYTES_PER_PIXEL)} in ${tiles} tiles`),
      row(
        'build',
        `about ${formatSeconds(OVERHEAD_SECONDS + (nx * ny * nz) / PIXELS_PER_SECOND / threads)} with ${threads} threads`,
      ),
      ...source.metadata.notes.map((note) => row('note', note)),
      ...voxel.notes.map((note) => row('doubt', note)),
      ...greyUnit(scan, source).notes.map((note) => row('doubt', note)),
      ...acquisitionChecks(scan.acquisition, voxel, (nz * voxel.z) / 1000).map((c) =>
        row(c.verdict === 'odd' ? 'doubt' : 'check', c.text),
      ),
    );
    return lines;
  } finally {
    await source.close();
  }
}

/** Labels as stored, by drawn layer: net names come from them. */
function labelWords(layout: LoadedLayout): string {
  const counts = new Map<string, number>();
  for (const cell of layout.layout.cells.values()) {
    for (const label of cell.labels) counts.set(label.drawn, (counts.get(label.drawn) ?? 0) + 1);
  }
  if (counts.size === 0) return 'none';
  const total = [...counts.values()].reduce((a, b) => a + b, 0);
  return `${total} stored, on ${[...counts].map(([drawn, n]) => `${drawn} (${n})`).join(', ')}`;
}

async function describePicture(folder: string, scan: CampaignScan, name: string): Promise<string[]> {
  const { width, height, format, bytes } = await pictureSize(resolve(folder, name), name);
  const pixelUm = picturePixelUm(scan);
  return [
    row('picture', `${name} (${format.toUpperCase()}), ${formatBytes(bytes)}`),
    row('pixels', `${width} x ${height} of ${pixelUm * 1000} nm`),
    row('extent', `${fix(width * pixelUm)} x ${fix(height * pixelUm)} µm`),
    row('placement', 'none: a flat picture stands in a frame of its own'),
  ];
}

const row = (label: string, text: string): string => `  ${label.padEnd(15)} ${text}`;
const fix = (value: number): string => value.toFixed(Math.abs(value) < 100 ? 2 : 1);
