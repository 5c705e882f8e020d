/** manifest.json: every file of a folio with its size and checksum, for fixity. */
import { z } from 'zod';

export const manifestSchema = z.object({
  version: z.literal(1),
  software: z.object({ name: z.string(), version: z.string() }),
  files: z.array(
    z.object({
      path: z.string().describe('Relative to the folio, with forward slashes.'),
      bytes: z.int().nonnegative(),
      sha256: z.string().regex(/^[0-9a-f]{64}$/),
    }),
  ),
});

export type Manifest = z.output<typeof manifestSchema>;
export type ManifestFile = Manifest['files'][number];

/** Where the manifest lies in a folio; the one file that it does not list. */
export const MANIFEST_PATH = 'data/manifest.json';
