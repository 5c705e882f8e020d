/** The index of everything but names, as the search library keeps it. */
import type { APIRoute } from 'astro';
import MiniSearch from 'minisearch';
import { dataJson } from '../../build/data-json.ts';
import { getFolio, getLessons, getScans } from '../../lib/content.ts';
import { glossary } from '../../lib/glossary.ts';
import { searchDocuments } from '../../lib/search-documents.ts';
import { SEARCH_OPTIONS } from '../../lib/search-options.ts';

export const GET: APIRoute = async () => {
  const [folio, scans, lessons, terms] = [
    await getFolio(),
    await getScans(),
    await getLessons(),
    await glossary(),
  ];
  const index = new MiniSearch(SEARCH_OPTIONS);
  index.addAll(searchDocuments({ folio, scans, lessons, terms }));
  return new Response(dataJson(index));
};
