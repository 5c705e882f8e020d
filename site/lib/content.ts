/** What the pages read: the folio, its scans, its lessons; each read once, when it is first asked for. */
import type { Folio } from '../../shared/artefacts/folio.ts';
import { SENTINEL } from '../build/relative-links.ts';
import { dataFolder, loadFolio, loadScan, type ScanArtefacts } from './artefacts.ts';
import { glossary } from './glossary.ts';
import { lessonWorld } from './lesson-world.ts';
import { type Lesson, loadLessons } from './lessons.ts';

const once = <T>(read: () => Promise<T>): (() => Promise<T>) => {
  let held: Promise<T> | null = null;
  return () => {
    held ??= read();
    return held;
  };
};

export const getFolio: () => Promise<Folio> = once(() => loadFolio(dataFolder()));

/** Scans in the order of the campaign. */
export const getScans: () => Promise<ScanArtefacts[]> = once(async () => {
  const { scans } = await getFolio();
  return Promise.all(scans.map((scan) => loadScan(dataFolder(), scan)));
});

/** Lessons in reading order. @throws InputFault with file and line */
export const getLessons: () => Promise<Lesson[]> = once(async () =>
  loadLessons({
    folder: process.env.STRATAFOLIO_LESSONS,
    world: lessonWorld(dataFolder(), await getScans()),
    terms: await glossary(),
    root: SENTINEL,
  }),
);
