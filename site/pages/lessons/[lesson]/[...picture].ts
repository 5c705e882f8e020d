/** Pictures that lie beside the lessons, copied to where the lesson's page looks for them. */
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { APIRoute, GetStaticPaths } from 'astro';
import { getLessons } from '../../../lib/content.ts';

export const getStaticPaths: GetStaticPaths = async () =>
  (await getLessons()).flatMap((lesson) =>
    [...new Set(lesson.pictures)].map((picture) => ({ params: { lesson: lesson.slug, picture } })),
  );

export const GET: APIRoute = async ({ params }) => {
  const folder = process.env.STRATAFOLIO_LESSONS ?? '';
  return new Response(new Uint8Array(await readFile(join(folder, params.picture ?? ''))));
};
