/** campaign.yaml: what the user writes. The descriptions here are the manual. */
import { z } from 'zod';

const positive = z.number().positive();
const vector2 = z.tuple([z.number(), z.number()]);
const drawnLayer = z
  .string()
  .regex(/^\d+\/\d+$/, 'a drawn layer is written "layer/datatype", such as "21/0"')
  .describe('A drawn layer of the layout: layer number, slash, datatype number.');

export const creatorSchema = z.strictObject({
  name: z.string().min(1).describe('Name as it should be cited.'),
  orcid: z
    .string()
    .regex(/^\d{4}-\d{4}-\d{4}-\d{3}[\dX]$/, 'an ORCID iD is written 0000-0000-0000-0000')
    .optional()
    .describe('ORCID iD without the address in front.'),
  affiliation: z.string().optional(),
});

export const rawTypes = [
  'uint8',
  'int8',
  'uint16le',
  'uint16be',
  'int16le',
  'int16be',
  'uint32le',
  'uint32be',
  'int32le',
  'int32be',
  'float32le',
  'float32be',
  'float64le',
  'float64be',
] as const;

const volumeSchema = z
  .strictObject({
    files: z.string().min(1).optional().describe('Glob of the slices, or of one or more multi-page files.'),
    hdf5: z.string().min(1).optional().describe('HDF5 file.'),
    zarr: z.string().min(1).optional().describe('OME-Zarr folder.'),
    raw: z.string().min(1).optional().describe('Headerless file; needs shape and dtype.'),
    dataset: z
      .string()
      .min(1)
      .optional()
      .describe('Path of the dataset inside the HDF5 file, or of the array inside the Zarr folder.'),
    shape: z
      .tuple([z.int().positive(), z.int().positive(), z.int().positive()])
      .optional()
      .describe('Slices, rows, columns of a raw file.'),
    dtype: z.enum(rawTypes).optional().describe('Number type and byte order of a raw file.'),
    offset_bytes: z.int().nonnegative().optional().describe('Bytes to pass over before a raw volume.'),
  })
  .refine((v) => [v.files, v.hdf5, v.zarr, v.raw].filter((s) => s !== undefined).length === 1, {
    error: 'exactly one of files, hdf5, zarr, raw',
  })
  .refine((v) => v.raw === undefined || (v.shape !== undefined && v.dtype !== undefined), {
    error: 'shape and dtype beside raw',
  });

export const acquisitionSchema = z.strictObject({
  technique: z.string().optional(),
  facility: z.string().optional(),
  date: z.string().optional().describe('ISO 8601 date or period.'),
  energy_keV: positive.optional(),
  laminography_deg: z
    .number()
    .min(0)
    .max(90)
    .optional()
    .describe('Angle between beam and rotation axis; 90 is tomography.'),
  projections: z.int().positive().optional(),
  detector_pixel_um: positive.optional(),
  detector_distance_m: positive.optional(),
  detector_pixels: z.int().positive().optional().describe('Side of the square of pixels that was used.'),
  seconds_per_projection: positive.optional(),
  dose_Gy: positive.optional(),
  notes: z.string().optional(),
});

export const scanSchema = z
  .strictObject({
    id: z
      .string()
      .regex(/^[a-z0-9-]+$/, 'lower-case letters, digits and hyphens')
      .describe('Stands in addresses and folder names.'),
    title: z.string().min(1).optional(),
    volume: volumeSchema.optional(),
    image: z
      .strictObject({ file: z.string().min(1) })
      .optional()
      .describe('A flat picture instead of a volume.'),
    voxel_nm: z
      .union([positive, z.tuple([positive, positive, positive])])
      .optional()
      .describe('Voxel size along x, y, z; one number for cubic voxels. Left out where the file states it.'),
    pixel_nm: positive.optional().describe('Pixel size of a flat picture.'),
    grey_unit: z
      .string()
      .optional()
      .describe('Unit of the grey values, such as e/Å³; left out where arbitrary.'),
    order: z
      .enum(['auto', 'top-first', 'bottom-first'])
      .default('auto')
      .describe('Does slice 0 lie nearest the top metal?'),
    seen_from: z.enum(['auto', 'front', 'back']).default('auto').describe('back: the picture is mirrored.'),
    near_um: vector2.optional().describe('Roughly where in the die the middle of the scan lies.'),
    within_um: positive.optional().describe('How far off near_um may be.'),
    inside: z
      .string()
      .optional()
      .describe(
        'Id of a scan that this one lies in: an overview, which is placed first and helps to place this one.',
      ),
    bright: z
      .enum(['auto', 'dense', 'light'])
      .default('auto')
      .describe('Do dense materials come out bright?'),
    placement: z
      .strictObject({ landmarks: z.string().min(1).describe('CSV with the columns i,j,k,x_um,y_um,z_um.') })
      .optional()
      .describe('Placement fixed by hand.'),
    acquisition: acquisitionSchema.optional().describe('Recorded, checked for consistency, published.'),
  })
  .refine((s) => (s.volume === undefined) !== (s.image === undefined), {
    error: 'exactly one of volume, image',
  });

interface Nested {
  readonly id: string;
  readonly inside?: string | undefined;
  readonly volume?: unknown;
}

/** What is wrong with the overview that a scan names; null where nothing is. */
function insideFault(scans: readonly Nested[], scan: Nested): string | null {
  if (scan.inside === undefined) return null;
  if (!scan.volume) return 'a volume; a flat picture is placed by the drawing or by landmarks';
  const seen = new Set([scan.id]);
  let name: string | undefined = scan.inside;
  while (name !== undefined) {
    const inside: string = name;
    const outer: Nested | undefined = scans.find((other) => other.id === inside);
    if (!outer?.volume)
      return `the id of another volume; "${inside}" is ${outer ? 'a flat picture' : 'none'}`;
    if (seen.has(inside)) return `an overview that does not lie in "${scan.id}" itself`;
    seen.add(inside);
    name = outer.inside;
  }
  return null;
}

export const campaignSchema = z.strictObject({
  stratafolio: z.literal(1).describe('Version of this file format.'),
  title: z.string().min(1),
  summary: z.string().optional().describe('One paragraph of Markdown.'),
  creators: z.array(creatorSchema).default([]),
  publisher: z.string().optional(),
  year: z.int().min(1900).max(9999).optional(),
  licence: z.string().optional().describe('SPDX identifier, such as CC-BY-4.0.'),
  identifier: z.string().optional().describe('DOI, once there is one.'),
  address: z
    .string()
    .regex(/^https?:\/\/[^\s?#]+\/$/, 'an address that begins with http(s):// and ends with a slash')
    .optional()
    .describe('Where the folio will be published; only catalogues and image manifests need it.'),
  chip: z.strictObject({
    name: z.string().min(1),
    process: z.string().min(1).optional().describe('The process stack, a YAML file.'),
    layout: z
      .strictObject({
        file: z.string().min(1).describe('.gds, .oas, each also .gz'),
        top: z.string().min(1).optional().describe('Top cell; may be left out where there is only one.'),
      })
      .optional(),
  }),
  scans: z
    .array(scanSchema)
    .min(1)
    .superRefine((scans, context) => {
      scans.forEach((scan, n) => {
        const fault = insideFault(scans, scan);
        if (fault) context.addIssue({ code: 'custom', path: [n, 'inside'], message: fault });
        if (scans.findIndex((other) => other.id === scan.id) < n) {
          context.addIssue({
            code: 'custom',
            path: [n, 'id'],
            message: `an id of its own; "${scan.id}" is taken`,
          });
        }
      });
    }),
  lessons: z.string().min(1).optional().describe('Glob of Markdown files.'),
  glossary: z
    .string()
    .min(1)
    .optional()
    .describe('Words of this campaign: Markdown, "## term" with text below.'),
  tiles: z
    .enum(['loose', 'packed'])
    .default('loose')
    .describe(
      'How plates, portraits and renders are kept. loose: a file per tile, for any host. packed: one TIFF per picture, hundreds of times fewer files and built faster, for hosts that answer byte ranges.',
    ),
  withhold: z
    .strictObject({
      drawn: z.array(drawnLayer).optional().describe('Drawn layers left out of renders and nets.'),
      cells: z
        .array(z.string().min(1))
        .optional()
        .describe('Cells shown as plain outlines; * stands for anything.'),
      cells_in_image: z
        .enum(['removed', 'shown'])
        .optional()
        .describe(
          'Whether the image over withheld cells is taken out at every height (removed, also where left out), or only what is drawn in them (shown).',
        ),
      regions_um: z
        .array(z.tuple([z.number(), z.number(), z.number(), z.number()]))
        .optional()
        .describe('Two opposite corners of a region, X and Y each: its image and all that is drawn in it.'),
    })
    .optional()
    .describe('What must not be published.'),
});

export type Campaign = z.output<typeof campaignSchema>;
export type CampaignScan = z.output<typeof scanSchema>;
export type Acquisition = z.output<typeof acquisitionSchema>;
export { drawnLayer as drawnLayerSchema };
