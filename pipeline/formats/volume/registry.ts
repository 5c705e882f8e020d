/** Every kind of volume and the reader for it, loaded when the first of its kind is opened. */
import type { VolumeSource } from '../volume.ts';
import type { RawLayout } from './raw.ts';

export interface TiffSpec {
  readonly kind: 'tiff';
  /** Absolute paths in slice order. */
  readonly files: readonly string[];
}

export interface RawSpec extends RawLayout {
  readonly kind: 'raw';
  /** Absolute path. */
  readonly file: string;
}

/** What to open. Plain data: it can be sent to another thread. */
export type VolumeSpec = TiffSpec | RawSpec;

export interface OpenVolumeOptions {
  /** How a file is called in messages, such as its path relative to the campaign; default the path itself. */
  readonly nameOf?: (file: string) => string;
  /** Stops the opening of a long series. */
  readonly signal?: AbortSignal;
}

type Opener<Spec> = (spec: Spec, options: OpenVolumeOptions) => Promise<VolumeSource>;

const READERS: {
  readonly [K in VolumeSpec['kind']]: () => Promise<Opener<Extract<VolumeSpec, { kind: K }>>>;
} = {
  tiff: async () => {
    const { openTiffStack } = await import('./tiff.ts');
    return (spec, options) => openTiffStack(spec.files, options);
  },
  raw: async () => {
    const { openRawVolume } = await import('./raw.ts');
    return (spec, options) => openRawVolume(spec.file, spec, options);
  },
};

/**
 * Opens a volume: headers are read and checked, voxels are not.
 * @throws InputFault when the files are missing, damaged, unlike each other or of a kind that is not read
 */
export async function openVolume(spec: VolumeSpec, options: OpenVolumeOptions = {}): Promise<VolumeSource> {
  // One entry per kind is checked above; that key and argument belong together is beyond the type system.
  const load = READERS[spec.kind] as () => Promise<Opener<VolumeSpec>>;
  return (await load())(spec, options);
}
