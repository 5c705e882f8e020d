/** Which file holds which names. */
import type { APIRoute } from 'astro';
import { dataJson } from '../../../build/data-json.ts';
import { shardList } from '../../../lib/search-names.ts';

export const GET: APIRoute = async () => new Response(dataJson(await shardList()));
