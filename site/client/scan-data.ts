/** The files of one scan that its pictures need. */
import type { Layers } from '../../shared/artefacts/layers.ts';
import type { Pictures } from '../../shared/artefacts/pictures.ts';
import type { Plates } from '../../shared/artefacts/plates.ts';

export interface ScanData {
  /** Address of the scan folder, with a slash at its end. */
  readonly root: string;
  readonly plates: Plates;
  readonly layers: Layers;
  /** null where there is no drawing. */
  readonly pictures: Pictures | null;
}

export async function fetchJson<T>(address: string): Promise<T> {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return answer.json() as Promise<T>;
}

export async function openScanData(root: string, withDrawing: boolean): Promise<ScanData> {
  const [plates, layers, pictures] = await Promise.all([
    fetchJson<Plates>(`${root}plates.json`),
    fetchJson<Layers>(`${root}layers.json`),
    withDrawing ? fetchJson<Pictures>(`${root}pictures.json`) : null,
  ]);
  return { root, plates, layers, pictures };
}
