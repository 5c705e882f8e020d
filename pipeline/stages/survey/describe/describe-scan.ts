/** One scan as `check` tells it, from headers only: what is there, where it will be placed, what does not fit. */
import { resolve } from 'node:path';
import type { CampaignScan } from '../../../../shared/artefacts/campaign.ts';
import type { Process } from '../../../../shared/artefacts/process.ts';
import { WIDEST_SEARCH_FIELDS } from '../../../../shared/search-reach.ts';
import { pictureSize } from '../../../formats/picture.ts';
import { openVolume } from '../../../formats/volume/registry.ts';
import { bytesPerVoxel } from '../../../formats/volume/sample-types.ts';
import type { VolumeSource } from '../../../formats/volume.ts';
import { formatBytes } from '../../../output/progress.ts';
import { defaultThreads } from '../../../workers/pool.ts';
import { acquisitionChecks } from '../acquisition-checks.ts';
import type { LoadedCampaign } from '../load-campaign.ts';
import type { LoadedLayout } from '../load-layout.ts';
import { picturePixelUm } from '../picture-pixel.ts';
import { greyUnit, type VoxelSize, voxelSize } from '../survey-scan.ts';
import { campaignPath, volumeSpec } from '../volume-spec.ts';
import { counted, doubt, type Entry, heading, plain, row, um } from './entries.ts';
import { estimateBuild } from './estimate.ts';

/** A line is sampled by two voxels across it at the least. @source the sampling theorem */
const LEAST_VOXELS_PER_LINE = 2;

export async function describeScan(
  loaded: Pick<LoadedCampaign, 'folder' | 'process' | 'allowOutside'>,
  layout: LoadedLayout | null,
  scan: CampaignScan,
  tiles: 'loose' | 'packed' = 'loose',
): Promise<Entry[]> {
  const title = heading(`Scan ${scan.id}${scan.title ? `: ${scan.title}` : ''}`);
  if (scan.image) return [title, ...(await describePicture(loaded, layout, scan, scan.image.file))];
  const { folder, process } = loaded;
  const source = await openVolume(await volumeSpec(folder, scan, loaded.allowOutside), {
    nameOf: (file) => campaignPath(folder, file),
  });
  try {
    const voxel = voxelSize(scan, source);
    const { nx, ny, nz } = source.shape;
    const sizeUm = [(nx * voxel.x) / 1000, (ny * voxel.y) / 1000, (nz * voxel.z) / 1000] as const;
    const threads = defaultThreads();
    const voxelBytes = bytesPerVoxel(source.type);
    const build = estimateBuild({ shape: source.shape, scan, process, layout, threads, tiles, voxelBytes });
    const checks = acquisitionChecks(scan.acquisition, voxel, sizeUm[2]);
    return [
      title,
      row('files', filesWords(source, folder)),
      ...(source.metadata.notes.length > 0 ? [row('stored as', source.metadata.notes.join('; '))] : []),
      row('voxels', `${nx} x ${ny} x ${nz} ${source.type}`),
      row('voxel size', voxelWords(voxel)),
      row('extent', `${um(sizeUm[0])} x ${um(sizeUm[1])} µm, ${um(sizeUm[2])} µm deep`),
      row('placement', placementWords(scan, layout, process)),
      ...(process ? depthEntries(process, sizeUm[2]) : []),
      ...(process ? ruleEntries(process, voxel) : []),
      row(
        'folio',
        `about ${formatBytes(Number(build.bytes.toPrecision(2)))} in ${counted(Number(build.files.toPrecision(2)))} files`,
      ),
      row(
        'build',
        `about ${roundSeconds(build.seconds)} with ${threads} threads, on processors as fast as those it was measured on (AMD EPYC) with nothing else to do`,
      ),
      row('memory', `about ${formatBytes(Number((1e6 * build.memoryMb).toPrecision(2)))} at the most`),
      ...placementDoubts(scan, layout, process, sizeUm),
      ...[...voxel.notes, ...greyUnit(scan, source).notes].map(doubt),
      ...checks.filter((c) => c.verdict === 'odd').map((c) => doubt(c.text)),
      ...checks.filter((c) => c.verdict !== 'odd').map((c) => row('check', c.text)),
    ];
  } finally {
    await source.close();
  }
}

/** An estimate, so without false precision: 40 s, 2 min, 3 h. */
function roundSeconds(seconds: number): string {
  if (seconds < 100) return `${Math.max(10, Math.round(seconds / 10) * 10)} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  return `${(seconds / 3600).toFixed(1)} h`;
}

function filesWords({ files, format, bytes }: VolumeSource, folder: string): string {
  const name = format === 'zarr' ? 'Zarr' : format.toUpperCase();
  const first = campaignPath(folder, files[0]!);
  if (files.length === 1) return `${first} (${name}), ${formatBytes(bytes)}`;
  return `${files.length} (${name}), ${formatBytes(bytes)}: ${first} to ${campaignPath(folder, files.at(-1)!)}`;
}

function voxelWords({ x, y, z, source }: VoxelSize): string {
  const cubic = x === y && y === z;
  return `${cubic ? plain(x) : `${plain(x)} x ${plain(y)} x ${plain(z)}`} nm (${source})`;
}

/** What the build will do to find the place. */
function placementWords(scan: CampaignScan, layout: LoadedLayout | null, process: Process | null): string {
  const hasDrawing = layout?.boxUm && process;
  if (scan.placement)
    return `by ${scan.placement.landmarks}${hasDrawing && scan.volume ? ', which the image is asked to confirm' : ''}`;
  if (!hasDrawing) {
    const lacking = [...(layout ? [] : ['a layout']), ...(process ? [] : ['a process table'])].join(' and ');
    return `none: without ${lacking || 'shapes in the layout'} the scan stays in a frame of its own`;
  }
  if (scan.inside)
    return `looked for inside ${scan.inside}: in the drawing, and in the image of ${scan.inside}`;
  if (scan.image && !scan.near_um)
    return 'looked for in the whole drawing, among the metals that show from above';
  if (!scan.near_um) return 'looked for in the whole drawing';
  const within = scan.within_um ? ` within ${plain(scan.within_um)} µm` : '';
  return `looked for near x ${plain(scan.near_um[0])}, y ${plain(scan.near_um[1])} µm${within}`;
}

function placementDoubts(
  scan: CampaignScan,
  layout: LoadedLayout | null,
  process: Process | null,
  sizeUm: readonly [number, number, number],
): Entry[] {
  const box = layout?.boxUm;
  if (!box || !process) return [];
  const doubts: Entry[] = [];
  const [width, height] = [box[2] - box[0], box[3] - box[1]];
  if (Math.min(sizeUm[0], sizeUm[1]) > Math.max(width, height))
    doubts.push(
      doubt(
        `The scan (${um(sizeUm[0])} x ${um(sizeUm[1])} µm) is larger than the whole drawing (${um(width)} x ${um(height)} µm). ` +
          'Is the voxel size in nanometres, and the top cell the right one?',
      ),
    );
  if (scan.near_um) {
    const [x, y] = scan.near_um;
    const off = Math.hypot(Math.max(box[0] - x, 0, x - box[2]), Math.max(box[1] - y, 0, y - box[3]));
    if (off > (scan.within_um ?? 0))
      doubts.push(doubt(`near_um (${plain(x)}, ${plain(y)}) lies ${um(off)} µm outside the drawing.`));
  } else if (!scan.placement && !scan.inside) {
    const fields = Math.max(width, height) / Math.max(sizeUm[0], sizeUm[1]);
    if (fields > WIDEST_SEARCH_FIELDS)
      doubts.push(
        doubt(
          `The drawing is ${fields.toFixed(0)} scans wide, and ${WIDEST_SEARCH_FIELDS} are searched: say roughly where the scan ` +
            'lies (near_um, within_um), or give landmarks.',
        ),
      );
  }
  return doubts;
}

function depthEntries(process: Process, depthUm: number): Entry[] {
  const bottom = Math.min(...process.layers.map((l) => l.bottom_um));
  const stackUm = Math.max(...process.layers.map((l) => l.bottom_um + l.thickness_um)) - bottom;
  const share = depthUm / stackUm;
  const words = `the stack is ${um(stackUm)} µm high, the scan ${um(depthUm)} µm deep`;
  if (share >= 1) return [row('depth', `${words}: all layers can lie in it`)];
  return [row('depth', `${words}: at most ${Math.round(100 * share)} % of the stack lies in it`)];
}

function ruleEntries(process: Process, voxel: VoxelSize): Entry[] {
  const finest = Object.entries(process.rules ?? {})
    .flatMap(([layer, { width_um, space_um, size_um }]) =>
      [width_um, space_um, size_um].flatMap((value) => (value === undefined ? [] : [{ layer, value }])),
    )
    .sort((a, b) => a.value - b.value)[0];
  if (!finest) return [];
  const voxels = (finest.value * 1000) / Math.max(voxel.x, voxel.y);
  const words = `the finest rule, ${um(finest.value)} µm of ${finest.layer}, is ${voxels.toFixed(1)} voxels`;
  return voxels < LEAST_VOXELS_PER_LINE
    ? [doubt(`${words.replace('the', 'The')}: too few to tell a line from its neighbour.`)]
    : [row('detail', words)];
}

async function describePicture(
  { folder, process }: Pick<LoadedCampaign, 'folder' | 'process'>,
  layout: LoadedLayout | null,
  scan: CampaignScan,
  name: string,
): Promise<Entry[]> {
  const { width, height, format, bytes } = await pictureSize(resolve(folder, name), name);
  const pixelUm = picturePixelUm(scan);
  return [
    row('picture', `${name} (${format.toUpperCase()}), ${formatBytes(bytes)}`),
    row('pixels', `${width} x ${height} of ${plain(pixelUm * 1000)} nm`),
    row('extent', `${um(width * pixelUm)} x ${um(height * pixelUm)} µm`),
    row('placement', placementWords(scan, layout, process)),
  ];
}
