/** Readings to files and back. The schemas are loaded only when a file is read in. */
import { parseCsv } from '../../../shared/csv.ts';
import type { Reading } from '../../lib/measuring/reading.ts';
import { readingsCsv, readingsOfRows } from '../../lib/measuring/table.ts';

export async function saveReadings(
  form: 'csv' | 'json',
  readings: readonly Reading[],
  { folio = '', chip = '', scan = '' }: DOMStringMap,
): Promise<void> {
  const text =
    form === 'csv'
      ? readingsCsv(readings)
      : `${JSON.stringify({ version: 1, folio, chip, readings }, null, 2)}\n`;
  const type = form === 'csv' ? 'text/csv;charset=utf-8' : 'application/json';
  saveBlob(new Blob([text], { type }), `readings-${scan}.${form}`);
}

export function saveBlob(blob: Blob, name: string): void {
  const address = URL.createObjectURL(blob);
  const link = document.createElement('a');
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}

/** @throws InputFault for a file that holds no readings, with the place in it */
export async function readReadingsFile(file: File): Promise<readonly Reading[]> {
  const text = await file.text();
  if (!text.trimStart().startsWith('{')) return readingsOfRows(parseCsv(text, file.name), file.name);
  const { readReadings } = await import('../../lib/measuring/read-readings.ts');
  return readReadings(text, file.name);
}
