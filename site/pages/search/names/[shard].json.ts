/** Names of nets and cells with one beginning. */
import type { APIRoute, GetStaticPaths } from 'astro';
import { dataJson } from '../../../build/data-json.ts';
import { nameShards } from '../../../lib/search-names.ts';

export const getStaticPaths: GetStaticPaths = async () =>
  (await nameShards()).map((_, n) => ({ params: { shard: String(n) } }));

export const GET: APIRoute = async ({ params }) => {
  const shard = (await nameShards())[Number(params.shard)];
  return new Response(dataJson(shard?.entries ?? []));
};
