/** inputs.json: every file that the folio was made from, with its checksum. */
import { z } from 'zod';

export const inputsSchema = z.object({
  version: z.literal(1),
  files: z.array(
    z.object({
      path: z.string().describe('Below the campaign folder.'),
      role: z.enum(['campaign', 'process', 'layout', 'landmarks', 'volume', 'picture', 'lesson', 'reviews']),
      scan: z.string().nullable().describe('Scan that the file belongs to; null for the whole campaign.'),
      bytes: z.int().nonnegative(),
      sha256: z.string().regex(/^[0-9a-f]{64}$/),
    }),
  ),
});

export type Inputs = z.output<typeof inputsSchema>;
