/**
 * The program that prints pages, as it stands in the bundle. It knows no folio: what it shows is read when it runs, from
 * where the environment says, so that one bundle serves every folio of this version of the code.
 */
import { StaticPaths } from 'astro:static-paths';
import { createApp } from 'astro/app/entrypoint';
import { getFolio, getLessons, getScans } from '../lib/content.ts';
import { fileOfPage } from './page-file.ts';
import { SENTINEL } from './relative-links.ts';

/** Only the path is ever looked at. */
const ORIGIN = 'http://localhost';

/**
 * Every page and file of the folio, in the order of the routes.
 * @param take is given the path below the folio, with forward slashes, and the content
 * @throws InputFault when a hand-over file or a lesson is wrong
 */
export async function eachPage(take: (path: string, content: Uint8Array) => Promise<void>): Promise<void> {
  // Faults of the input are thrown from here as they are; thrown while a page is made they would become a page.
  await Promise.all([getFolio(), getScans(), getLessons()]);
  const app = createApp({ streaming: false });
  const seen = new Set<string>();
  for (const { pathname, route } of await new StaticPaths(app).getAll()) {
    const path = fileOfPage(pathname, route.type);
    if (seen.has(path)) continue;
    seen.add(path);
    const address = `${SENTINEL}${pathname.replace(/^\//, '')}`.replace(
      /([^/])$/,
      route.type === 'page' ? '$1/' : '$1',
    );
    const response = await app.render(new Request(new URL(address, ORIGIN)), { routeData: route });
    const awaited = path === '404.html' ? 404 : 200;
    if (response.status !== awaited) throw new Error(`${path} could not be made (${response.status}).`);
    await take(path, new Uint8Array(await response.arrayBuffer()));
  }
}
