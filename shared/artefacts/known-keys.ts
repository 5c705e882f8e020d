/** Which keys a schema knows at a path, for messages that name the nearest one. */
import { distance } from 'fastest-levenshtein';
import { z } from 'zod';

/** Peels optional, default, nullable and the like off a schema. */
function bare(schema: z.core.$ZodType): z.core.$ZodType {
  const inner = (schema as unknown as { def: { innerType?: z.core.$ZodType } }).def.innerType;
  return inner ? bare(inner) : schema;
}

/** Keys that an object may have at `path`; empty where the schema has no object there. */
export function knownKeysAt(schema: z.core.$ZodType, path: readonly PropertyKey[]): string[] {
  let here = bare(schema);
  for (const step of path) {
    if (here instanceof z.ZodObject && typeof step === 'string' && step in here.shape) {
      here = bare(here.shape[step] as z.core.$ZodType);
    } else if (here instanceof z.ZodArray && typeof step === 'number') {
      here = bare(here.element as z.core.$ZodType);
    } else if (here instanceof z.ZodRecord) {
      here = bare(here.valueType as z.core.$ZodType);
    } else return [];
  }
  return here instanceof z.ZodObject ? Object.keys(here.shape) : [];
}

/** The candidate that takes the fewest single-letter changes to reach, if any is near enough to be meant. */
export function nearest(word: string, candidates: readonly string[]): string | null {
  let best: string | null = null;
  let least = Math.max(2, Math.ceil(word.length / 2)) + 1;
  for (const candidate of candidates) {
    const steps = distance(word.toLowerCase(), candidate.toLowerCase());
    if (steps < least) {
      least = steps;
      best = candidate;
    }
  }
  return best;
}
