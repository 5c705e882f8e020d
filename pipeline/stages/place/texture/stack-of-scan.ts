/** Depth to stack by texture for a scan on disk. */
import { relative } from 'node:path';
import type { Process } from '../../../../shared/artefacts/process.ts';
import { openVolume, type VolumeSpec } from '../../../formats/volume/registry.ts';
import { stackByTexture, type TextureStack } from './stack-by-texture.ts';

export interface TextureInput {
  readonly spec: VolumeSpec;
  readonly campaignFolder: string;
  readonly brokenSlices: readonly number[];
  readonly mask: Uint8Array | null;
  readonly process: Process;
  readonly voxelNm: { readonly x: number; readonly z: number };
  readonly order: 'auto' | 'top-first' | 'bottom-first';
}

/** @returns null for a scan too thin to show a stack */
export async function stackOfScan(input: TextureInput, signal?: AbortSignal): Promise<TextureStack | null> {
  const source = await openVolume(input.spec, { nameOf: (file) => relative(input.campaignFolder, file) });
  try {
    const scan = {
      ...{ ...source.shape, mask: input.mask, brokenSlices: input.brokenSlices },
      slice: (k: number) => source.read({ k: [k, k + 1] }, signal),
    };
    return await stackByTexture(
      scan,
      input.process,
      input.voxelNm.z / 1000,
      input.voxelNm.x / 1000,
      input.order,
    );
  } finally {
    await source.close();
  }
}
