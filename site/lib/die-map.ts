/** Geometry of the die map: layout box and footprints to scale in a frame with round ticks. Y up becomes Y down here. */
import type { Folio } from '../../shared/artefacts/folio.ts';
import { type Box, EMPTY_BOX, growBox, isEmptyBox, unionBox } from '../../shared/polygon.ts';
import { roundTicks } from './scale-bar.ts';

export interface MapScan {
  readonly id: string;
  readonly title: string;
  /** SVG points of the footprint. */
  readonly points: string;
  readonly centre: readonly [number, number];
  /** Drawn size, for marking what would be too small to see. */
  readonly size: number;
}

export interface DieMap {
  readonly width: number;
  readonly height: number;
  readonly frame: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
  readonly die: {
    readonly x: number;
    readonly y: number;
    readonly width: number;
    readonly height: number;
  } | null;
  readonly scans: readonly MapScan[];
  readonly xTicks: readonly { readonly at: number; readonly um: number }[];
  readonly yTicks: readonly { readonly at: number; readonly um: number }[];
  readonly tickDecimals: number;
  readonly umPerUnit: number;
}

const MARGIN = { left: 44, right: 12, top: 12, bottom: 30 } as const;

/** @param width of the drawing in its own units; the height follows. @returns null where nothing has a place */
export function dieMap(folio: Folio, width = 360): DieMap | null {
  const placed = folio.scans.filter((scan) => scan.frame === 'die' && scan.footprint_um.length > 2);
  let box: Box = folio.chip.layout?.box_um ?? EMPTY_BOX;
  for (const scan of placed) for (const [x, y] of scan.footprint_um) box = unionBox(box, [x, y, x, y]);
  if (isEmptyBox(box) || box[2] <= box[0] || box[3] <= box[1]) return null;
  const shown = growBox(box, 0.06 * Math.max(box[2] - box[0], box[3] - box[1]));
  const frameWidth = width - MARGIN.left - MARGIN.right;
  // A very long die is cut to a bearable height: the scale follows the tighter side.
  const scale = Math.min(frameWidth / (shown[2] - shown[0]), 420 / (shown[3] - shown[1]));
  const drawnWidth = (shown[2] - shown[0]) * scale;
  const frame = {
    x: MARGIN.left + (frameWidth - drawnWidth) / 2,
    y: MARGIN.top,
    width: drawnWidth,
    height: (shown[3] - shown[1]) * scale,
  };
  const toX = (x: number): number => frame.x + (x - shown[0]) * scale;
  const toY = (y: number): number => frame.y + (shown[3] - y) * scale;
  const layout = folio.chip.layout?.box_um;
  const scans = placed.map((scan) => {
    const corners = scan.footprint_um.map(([x, y]) => [toX(x), toY(y)] as const);
    const xs = corners.map((corner) => corner[0]);
    const ys = corners.map((corner) => corner[1]);
    return {
      id: scan.id,
      title: scan.title,
      points: corners.map(([x, y]) => `${x.toFixed(2)},${y.toFixed(2)}`).join(' '),
      centre: [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2] as const,
      size: Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys)),
    };
  });
  const across = roundTicks(shown[0], shown[2], 6);
  const step = across.stepUm;
  const up: number[] = [];
  for (let n = Math.ceil(shown[1] / step); n * step <= shown[3]; n++) up.push(n * step);
  return {
    width,
    height: frame.y + frame.height + MARGIN.bottom,
    frame,
    die: layout
      ? {
          x: toX(layout[0]),
          y: toY(layout[3]),
          width: (layout[2] - layout[0]) * scale,
          height: (layout[3] - layout[1]) * scale,
        }
      : null,
    scans,
    xTicks: across.values.map((um) => ({ at: toX(um), um })),
    yTicks: up.map((um) => ({ at: toY(um), um })),
    tickDecimals: across.decimals,
    umPerUnit: 1 / scale,
  };
}
