/**
 * Landmarks as a careful person would set them: points that can be recognised in the slices and in the drawing,
 * spread over the field and the depth, each clicked about half a voxel off.
 */
import { boxesMeet, type Field, grown, inField, voxelAt } from './field.ts';
import type { MadeLayer } from './image/volume-plan.ts';
import type { Connectivity } from './layout/connectivity.ts';
import { ringHolds } from './layout/connectivity.ts';
import type { Box } from './layout/flatten.ts';
import type { Random } from './random.ts';

export interface Landmark {
  readonly voxel: readonly [number, number, number];
  readonly dieUm: readonly [number, number, number];
}

const RIM_UM = 0.8;
/** Standard deviation of a click along each axis, voxels. */
export const CLICK_SD = 0.5;

interface Candidate {
  readonly at: readonly [number, number, number];
  readonly madeAt: readonly [number, number, number];
  readonly scaled: readonly [number, number, number];
}

/** Corners of a wire that no other shape of its layer covers, and centres of vias that stand alone. */
function candidates(
  layers: readonly MadeLayer[],
  viaNames: ReadonlySet<string>,
  drawn: Connectivity,
  field: Field,
  faults: readonly Box[],
): Candidate[] {
  const made = new Map(layers.map((l) => [l.name, l]));
  const extent = [0, 1, 2].map((a) => (field.shape[a] as number) * (field.voxelUm[a] as number));
  const out: Candidate[] = [];
  drawn.shapes.forEach((shape, index) => {
    const layer = made.get(shape.layer);
    // Contrast too faint to click on.
    if (!layer || Math.abs(layer.contrast) < 0.1) return;
    const [x0, y0, x1, y1] = shape.box;
    if (faults.some((f) => boxesMeet(grown(f, 1), shape.box))) return;
    const via = viaNames.has(shape.layer);
    if (via && drawn.near(shape.layer, grown(shape.box, x1 - x0)).length > 1) return;
    if (!via && shape.ring.length !== 8) return;
    const points: [number, number][] = via
      ? [[(x0 + x1) / 2, (y0 + y1) / 2]]
      : [
          [x0, y0],
          [x1, y1],
        ];
    const z = (layer.bottomUm + layer.topUm) / 2;
    for (const [x, y] of points) {
      if (!inField(field, x, y, z, RIM_UM)) continue;
      if (!via) {
        const covered = drawn
          .near(shape.layer, [x, y, x, y])
          .some((i) => i !== index && ringHolds(drawn.shapes[i]?.ring ?? [], x, y));
        if (covered) continue;
      }
      const [dx, dy] = layer.shapes.offsetUm;
      const scaled = [
        x / (extent[0] as number),
        y / (extent[1] as number),
        z / (extent[2] as number),
      ] as const;
      out.push({ at: [x, y, z], madeAt: [x + dx, y + dy, z], scaled });
    }
  });
  return out;
}

/**
 * Up to `count` landmarks, each as far from the others as the drawing allows. The drawing gives x and y, a section of
 * a sister chip gives the height; the click finds the metal as it was made.
 */
export function setLandmarks(
  layers: readonly MadeLayer[],
  viaNames: ReadonlySet<string>,
  drawn: Connectivity,
  field: Field,
  faults: readonly Box[],
  random: Random,
  count = 12,
): Landmark[] {
  const pool = random.shuffle(candidates(layers, viaNames, drawn, field, faults));
  const chosen: Candidate[] = [];
  const distance = pool.map(() => Infinity);
  while (chosen.length < count && chosen.length < pool.length) {
    let best = chosen.length === 0 ? 0 : -1;
    for (let i = 0; chosen.length > 0 && i < pool.length; i++)
      if (best < 0 || (distance[i] as number) > (distance[best] as number)) best = i;
    const picked = pool[best] as Candidate;
    chosen.push(picked);
    pool.forEach((c, i) => {
      const d = Math.hypot(...c.scaled.map((v, a) => v - (picked.scaled[a] as number)));
      distance[i] = Math.min(distance[i] as number, d);
    });
  }
  return chosen.map(({ at, madeAt }) => {
    const exact = voxelAt(field, madeAt);
    const click = exact.map((v) => Math.round((v + CLICK_SD * random.normal()) * 10) / 10);
    return { voxel: click as [number, number, number], dieUm: at };
  });
}

/** Text of `landmarks.csv`. */
export function landmarksCsv(landmarks: readonly Landmark[]): string {
  const rows = landmarks.map(({ voxel, dieUm }) =>
    [...voxel.map((v) => v.toFixed(1)), ...dieUm.map((v) => v.toFixed(3))].join(','),
  );
  return `${['i,j,k,x_um,y_um,z_um', ...rows].join('\n')}\n`;
}
