/** What a placement and the heights of a build are held against: the truth that was fixed before the slices were drawn. */
import { evaluate, type Term } from '../../demo-volume/image/distortion.ts';
import { type Affine3, apply3 } from '../../shared/affine.ts';
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { Warp } from '../../shared/artefacts/placement.ts';
import { displacementAt } from '../../shared/warp.ts';

export interface HeightErrors {
  /** Errors of the faces of layers that the image shows, voxels. */
  readonly facesVoxels: readonly number[];
  /** Plates farther than a voxel from any face: labelled right, and all. */
  readonly plates: readonly [number, number];
}

/** What layers.json would say, against what the chip was made with. */
export function heightsAgainst(
  { layers, plates }: Layers,
  truth: Truth,
  { nx, ny }: { readonly nx: number; readonly ny: number },
  voxelUm: number,
): HeightErrors {
  const facesVoxels = layers.flatMap((layer) => {
    const made = truth.layers.find((l) => l.name === layer.name);
    if (!made || layer.heights_from !== 'image') return [];
    const faces = [layer.bottom_um - made.bottom_um, layer.top_um - made.top_um];
    return (layer.seen === 'whole' ? faces : []).map((d) => Math.abs(d) / voxelUm);
  });
  let [good, all] = [0, 0];
  for (const { layer, slice } of plates) {
    const z = apply3(truth.voxel_to_die_um, [(nx - 1) / 2, (ny - 1) / 2, slice])[2];
    if (truth.layers.some((l) => Math.min(Math.abs(z - l.bottom_um), Math.abs(z - l.top_um)) < voxelUm))
      continue;
    const there = truth.layers.filter((l) => z > l.bottom_um && z < l.top_um).map((l) => l.name);
    all++;
    if (layer === null ? there.length === 0 : there.includes(layer)) good++;
  }
  return { facesVoxels, plates: [good, all] };
}

export interface Truth {
  readonly scan: { readonly shape: readonly [number, number, number] };
  readonly layers: readonly { readonly name: string; readonly bottom_um: number; readonly top_um: number }[];
  readonly voxel_to_die_um: Affine3;
  readonly distortion: {
    readonly u_terms: Term[];
    readonly v_terms: Term[];
    readonly w_terms_um: Term[];
  } | null;
}

/** Distances between where the map and the truth put points all over the volume; shifts of single slices aside. */
export function errorsOf(
  map: Affine3,
  warp: Warp | null,
  truth: Truth,
  { nx, ny, nz }: { readonly nx: number; readonly ny: number; readonly nz: number },
): {
  readonly plane: readonly [number, number];
  readonly depth: readonly [number, number];
  readonly middle: readonly [number, number, number];
} {
  const real = truth.voxel_to_die_um;
  const across = Math.hypot(real[0][0], real[1][0], real[2][0]);
  const deep = Math.hypot(real[0][2], real[1][2], real[2][2]);
  const off = (u: number, v: number, w: number): readonly [number, number, number] => {
    const at = [u * (nx - 1), v * (ny - 1), w * (nz - 1)] as const;
    const bend = truth.distortion;
    const term = (terms: readonly Term[]): number => evaluate(terms, [nx, ny, nz], at[0], at[1]);
    const bent = bend ? ([at[0] + term(bend.u_terms), at[1] + term(bend.v_terms), at[2]] as const) : at;
    const [x, y, z] = apply3(real, bent);
    const affine = apply3(map, at);
    const [dx, dy] = warp ? displacementAt(warp, affine[0], affine[1]) : [0, 0];
    const mine = [affine[0] + dx, affine[1] + dy, affine[2]] as const;
    return [
      (mine[0] - x) / across,
      (mine[1] - y) / across,
      (mine[2] - z - (bend ? term(bend.w_terms_um) : 0)) / deep,
    ];
  };
  const plane: number[] = [];
  const depth: number[] = [];
  for (let a = 0; a < 9; a++)
    for (let b = 0; b < 9; b++)
      for (let c = 0; c < 3; c++) {
        const [u, v] = [0.1 + 0.1 * a, 0.1 + 0.1 * b];
        // Inside a circle: a circular field has no corners.
        if (Math.hypot(u - 0.5, v - 0.5) > 0.45) continue;
        const [x, y, z] = off(u, v, c / 2);
        plane.push(Math.hypot(x, y));
        depth.push(Math.abs(z));
      }
  const at = (values: number[], share: number): number =>
    values.sort((p, q) => p - q)[Math.floor(share * (values.length - 1))]!;
  return {
    plane: [at(plane, 0.5), at(plane, 0.95)],
    depth: [at(depth, 0.5), at(depth, 0.95)],
    middle: off(0.5, 0.5, 0.5),
  };
}
