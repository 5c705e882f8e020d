/** The part of a volume that a reader was asked for, checked against the volume's size. */
import type { VolumeSource, VoxelBox } from '../volume.ts';

export interface Window {
  readonly k0: number;
  readonly k1: number;
  readonly j0: number;
  readonly j1: number;
  readonly i0: number;
  readonly i1: number;
}

/** @throws RangeError for a box outside the volume: a mistake of the caller, not of the input. */
export function resolveBox(box: VoxelBox, shape: VolumeSource['shape']): Window {
  const [k0, k1] = range('k', box.k, shape.nz);
  const [j0, j1] = range('j', box.j ?? [0, shape.ny], shape.ny);
  const [i0, i1] = range('i', box.i ?? [0, shape.nx], shape.nx);
  return { k0, k1, j0, j1, i0, i1 };
}

function range(axis: string, [from, to]: readonly [number, number], size: number): readonly [number, number] {
  const whole = Number.isInteger(from) && Number.isInteger(to);
  if (!whole || from < 0 || to < from || to > size) {
    throw new RangeError(`box ${axis} [${from}, ${to}) lies outside [0, ${size})`);
  }
  return [from, to];
}
