/** Which file holds which names. */
import type { APIRoute } from 'astro';
import { shardList } from '../../../lib/search-names.ts';

export const GET: APIRoute = async () => new Response(JSON.stringify(await shardList()));
