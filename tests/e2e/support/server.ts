/** A plain static server, with the folio below a path of its own and its 404 page for the rest. */

import { readFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import { join } from 'node:path';
import sirv from 'sirv';

/** Path below which the folio is served: not the root, so that an absolute address fails. */
export const BELOW = '/shelf/7/';

export function serveFolio(folder: string, port: number): Promise<Server> {
  const files = sirv(folder, { dev: false, etag: true });
  const missing = readFileSync(join(folder, '404.html'));
  const server = createServer((request, response) => {
    const url = request.url ?? '/';
    const notFound = (): void => {
      response
        .writeHead(404, { 'content-type': 'text/html' })
        .end(request.method === 'HEAD' ? undefined : missing);
    };
    if (!url.startsWith(BELOW)) return notFound();
    request.url = url.slice(BELOW.length - 1);
    files(request, response, notFound);
  });
  return new Promise((resolve) => server.listen(port, '127.0.0.1', () => resolve(server)));
}
