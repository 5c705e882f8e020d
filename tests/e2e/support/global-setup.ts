import type { Server } from 'node:http';
import { buildSite } from './build-site.ts';
import { PORT } from './port.ts';
import { serveFolio } from './server.ts';

/** Builds and serves the test folio; the answer closes the server. */
export default async function setup(): Promise<() => Promise<void>> {
  const server: Server = await serveFolio(await buildSite(), PORT);
  return async () => {
    server.closeAllConnections();
    await new Promise((resolve) => server.close(resolve));
  };
}
