/** Where the viewer must stand to show a finding. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { PlateGrid } from '../../shared/frames.ts';
import { type Camera, gridWidthUm } from './camera.ts';
import { layerRuns, nearestPlate } from './depth.ts';
import type { Finding } from './finding-words.ts';

/** A finding fills about a seventh of the view, but never so little that pixels are all one sees. */
const AROUND = 7;
const LEAST_PX = 48;

export function findingCamera(finding: Pick<Finding, 'centre_um' | 'box_um'>, grid: PlateGrid): Camera {
  const [x0, y0, x1, y1] = finding.box_um;
  const [xUm, yUm] = finding.centre_um;
  const wanted = Math.max(AROUND * Math.max(x1 - x0, y1 - y0), LEAST_PX * grid.pixel_um);
  return { xUm, yUm, widthUm: Math.min(wanted, gridWidthUm(grid)) };
}

/**
 * Middle plate of a layer; the nearest plate for a thin layer that lies between two of them; null for a layer that is
 * unknown or that the scan does not reach.
 */
export function plateOfLayer(layers: Layers, name: string): number | null {
  const run = layerRuns(layers.plates).find((one) => one.name === name);
  if (run) return run.middle;
  const span = layers.layers.find((one) => one.name === name);
  const heights = layers.plates.map((plate) => plate.z_um);
  if (!span || heights.length === 0) return null;
  const middle = (span.bottom_um + span.top_um) / 2;
  const reached = middle >= heights[0]! && middle <= heights.at(-1)!;
  return reached ? nearestPlate(heights, middle) : null;
}

/** Fragment of the viewer's address that leads to a finding and opens it. */
export function findingFragment(finding: Finding, layers: Layers, grid: PlateGrid): string {
  const camera = findingCamera(finding, grid);
  const plate = plateOfLayer(layers, finding.layer);
  const short = (value: number): string => String(Number(value.toFixed(4)));
  const parts = [
    ...(plate === null ? [] : [`z=${short(layers.plates[plate]!.z_um)}`]),
    `x=${short(camera.xUm)}`,
    `y=${short(camera.yUm)}`,
    `w=${short(camera.widthUm)}`,
    `finding=${finding.id}`,
  ];
  return `#${parts.join('&')}`;
}
