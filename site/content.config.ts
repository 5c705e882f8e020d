/** What the pages read, as content collections: the folio, its scans, its lessons. */
import { defineCollection } from 'astro:content';
import { z } from 'astro/zod';
import { folioSchema } from '../shared/artefacts/folio.ts';
import { SENTINEL } from './build/relative-links.ts';
import { dataFolder, loadFolio, loadScan, type ScanArtefacts } from './lib/artefacts.ts';
import { glossary } from './lib/glossary.ts';
import { lessonWorld } from './lib/lesson-world.ts';
import { type Lesson, loadLessons } from './lib/lessons.ts';

const folio = defineCollection({
  loader: async () => [{ id: 'folio', ...(await loadFolio(dataFolder())) }],
  schema: folioSchema,
});

// Both were checked by their own schemas while they were read.
const scans = defineCollection({
  loader: async () => {
    const data = dataFolder();
    const { scans } = await loadFolio(data);
    return Promise.all(scans.map(async (scan) => ({ id: scan.id, ...(await loadScan(data, scan)) })));
  },
  schema: z.custom<ScanArtefacts>(),
});

const lessons = defineCollection({
  loader: async () => {
    const data = dataFolder();
    const { scans } = await loadFolio(data);
    const artefacts = await Promise.all(scans.map((scan) => loadScan(data, scan)));
    const loaded = await loadLessons({
      folder: process.env.STRATAFOLIO_LESSONS,
      world: lessonWorld(data, artefacts),
      terms: await glossary(),
      root: SENTINEL,
    });
    return loaded.map((lesson) => ({ id: lesson.slug, ...lesson }));
  },
  schema: z.custom<Lesson>(),
});

export const collections = { folio, scans, lessons };
