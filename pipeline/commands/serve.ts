/** `stratafolio serve`: a local static server with byte ranges. */
import { stat } from 'node:fs/promises';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join, resolve } from 'node:path';
import sirv from 'sirv';
import { InputFault } from '../../shared/errors.ts';

/** Serves until interrupted. Listens on this machine only. */
export async function serve(folio: string, port: number): Promise<number> {
  const folder = resolve(folio);
  await stat(join(folder, 'index.html')).catch((cause) => {
    throw new InputFault(
      {
        tag: 'missing-file',
        file: folio,
        expected: 'a folio with index.html in it',
        found: 'none',
        remedy: 'Name the folder that `stratafolio build` made (without --data-only).',
      },
      { cause },
    );
  });
  const files = sirv(folder, { dev: true, dotfiles: true, etag: true });
  const server = createServer((request, response) => {
    files(request, response, () => {
      response.writeHead(404, { 'Content-Type': 'text/plain; charset=utf-8' });
      response.end('Not found\n');
    });
  });
  await listen(server, port);
  const address = server.address() as AddressInfo;
  process.stdout.write(`The folio is at http://localhost:${address.port}/  (Ctrl+C ends it)\n`);
  await new Promise<void>((done) => {
    for (const name of ['SIGINT', 'SIGTERM'] as const) process.once(name, () => done());
  });
  server.closeAllConnections();
  server.close();
  return 0;
}

/** The wanted port, or the next free one where that is taken. */
async function listen(server: ReturnType<typeof createServer>, port: number): Promise<void> {
  for (let tried = port; ; tried++) {
    const error = await new Promise<NodeJS.ErrnoException | null>((done) => {
      server.once('error', done);
      server.listen(tried, '127.0.0.1', () => {
        server.off('error', done);
        done(null);
      });
    });
    if (!error) return;
    if (error.code !== 'EADDRINUSE' || tried >= port + 20) throw error;
  }
}
