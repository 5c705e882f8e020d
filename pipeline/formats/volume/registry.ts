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

export interface Hdf5Spec {
  readonly kind: 'hdf5';
  /** Absolute path. */
  readonly file: string;
  /** Path of the dataset; without it the file is searched. */
  readonly dataset?: string;
}

export interface ZarrSpec {
  readonly kind: 'zarr';
  /** Absolute path of the folder of an OME-Zarr image or of an array. */
  readonly folder: string;
  /** Path of the image or array below that folder; without it the folder is searched. */
  readonly array?: string;
  /** Whether links inside the folder may lead out of it. */
  readonly allowOutside?: boolean;
}

export interface PicturesSpec {
  readonly kind: 'pictures';
  /** Absolute paths of PNG or JPEG files in slice order. */
  readonly files: readonly string[];
}

/** What to open. Plain data: it can be sent to another thread. */
export type VolumeSpec = TiffSpec | RawSpec | Hdf5Spec | ZarrSpec | PicturesSpec;

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
  hdf5: async () => {
    const { openHdf5Volume } = await import('./hdf5.ts');
    return (spec, options) =>
      openHdf5Volume(spec.file, {
        ...options,
        ...(spec.dataset === undefined ? {} : { dataset: spec.dataset }),
      });
  },
  zarr: async () => {
    const { openZarrVolume } = await import('./zarr.ts');
    return ({ folder, array, allowOutside }, options) =>
      openZarrVolume(folder, {
        ...options,
        ...(array === undefined ? {} : { array }),
        allowOutside: allowOutside ?? false,
      });
  },
  pictures: async () => {
    const { openPictureSeries } = await import('./pictures.ts');
    return (spec, options) => openPictureSeries(spec.files, options);
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
