/** selftest.json: how well the comparison finds phantom edits planted into the drawing on this very scan. */
import { z } from 'zod';
import { findingKinds } from './findings.ts';

const interval = z.object({ value: z.number(), low: z.number(), high: z.number() });

export const selftestSchema = z.object({
  version: z.literal(1),
  trials: z.array(
    z
      .object({
        kind: z.enum(findingKinds),
        layer: z.string(),
        size_um: z.number().positive(),
        planted: z.int().nonnegative(),
        found: z.int().nonnegative(),
        low: z.number().min(0).max(1),
        high: z.number().min(0).max(1),
      })
      .refine((t) => t.found <= t.planted, { error: 'no more found than planted' }),
  ),
  /** Share of the differences near planted edits that were the edits. */
  precision: z.number().min(0).max(1),
  /** Of the field, all judged layers together: what noise and misfit alone made above the thresholds. */
  false_per_1000um2: interval,
  size_found_um: z.record(
    z.string(),
    z.object({ half: z.number().positive(), nine_in_ten: z.number().positive() }),
  ),
});

export type Selftest = z.output<typeof selftestSchema>;
