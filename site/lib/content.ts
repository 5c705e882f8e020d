/** The collections in the order and shape in which pages use them. */
import { getCollection, getEntry } from 'astro:content';
import type { Folio } from '../../shared/artefacts/folio.ts';
import type { ScanArtefacts } from './artefacts.ts';
import type { Lesson } from './lessons.ts';

export async function getFolio(): Promise<Folio> {
  const entry = await getEntry('folio', 'folio');
  if (!entry) throw new Error('The collection "folio" is empty.');
  return entry.data;
}

/** Scans in the order of the campaign. */
export async function getScans(): Promise<ScanArtefacts[]> {
  const { scans } = await getFolio();
  const all = new Map((await getCollection('scans')).map((entry) => [entry.id, entry.data]));
  return scans.flatMap((scan) => all.get(scan.id) ?? []);
}

export async function getLessons(): Promise<Lesson[]> {
  const lessons = (await getCollection('lessons')).map((entry) => entry.data);
  return lessons.sort((a, b) => a.order - b.order || a.slug.localeCompare(b.slug));
}
