/** What a browser has kept of readings, without the schemas: a page need not load them to look. */
import { encodeReadings, parseReadings } from './link.ts';
import type { Reading } from './reading.ts';

const isText = (value: unknown): value is string => typeof value === 'string';

/** @param text as it was stored; anything that is not a sound reading counts for nothing */
export function readStoredReadings(text: string | null): Reading[] {
  if (text === null) return [];
  let list: unknown;
  try {
    list = JSON.parse(text);
  } catch {
    return [];
  }
  return Array.isArray(list) ? list.filter(isReading) : [];
}

function isReading(value: unknown): value is Reading {
  if (typeof value !== 'object' || value === null) return false;
  const one = value as Partial<Reading>;
  if (!isText(one.kind) || !isText(one.scan) || !isText(one.method) || !isText(one.made)) return false;
  if (!Array.isArray(one.points_um) || !Array.isArray(one.values) || one.values.length === 0) return false;
  if (!one.values.every((v) => isText(v?.name) && Number.isFinite(v?.value) && isText(v?.unit))) return false;
  if (!Array.isArray(one.doubts) || !Number.isInteger(one.plate)) return false;
  // What can go into a link and come back out again is sound.
  return parseReadings(encodeReadings([one as Reading])).length === 1;
}
