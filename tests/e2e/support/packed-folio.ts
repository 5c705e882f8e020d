/**
 * The test folio with two of its scans packed: one lossless, so that every number survives, one as builds write it. The
 * pages are those of the loose folio with the paths of the packed pictures.
 */
import { appendFileSync, cpSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import { test as base, expect } from '@playwright/test';
import sirv from 'sirv';
import { tilePixels } from '../../../pipeline/output/packed/tile-pixels.ts';
import { plateTiles, renderTiles, writePyramid } from '../../../pipeline/output/pyramid.ts';
import type { Pictures } from '../../../shared/artefacts/pictures.ts';
import type { Plates } from '../../../shared/artefacts/plates.ts';
import { maximumLevel } from '../../../shared/pyramid.ts';
import { WORK } from './build-site.ts';

export const SCANS = { fine: 'lossless', lines: 'lossy' } as const;

export async function packedFolio(work: string): Promise<string> {
  const folio = join(work, 'folio');
  rmSync(work, { recursive: true, force: true });
  cpSync(join(WORK, 'folio'), folio, { recursive: true });
  for (const [scan, kind] of Object.entries(SCANS)) {
    await packScan(join(folio, 'data', scan), kind);
    for (const page of readdirSync(join(folio, 'scan', scan, 'layer'))) {
      const file = join(folio, 'scan', scan, 'layer', page, 'index.html');
      writeFileSync(file, readFileSync(file, 'utf8').replaceAll('.dzi"', '.tif"'));
    }
  }
  return folio;
}

async function packScan(folder: string, kind: 'lossy' | 'lossless'): Promise<void> {
  const change = <T>(name: string, how: (value: T) => void): T => {
    const file = join(folder, name);
    const value = JSON.parse(readFileSync(file, 'utf8')) as T;
    how(value);
    writeFileSync(file, JSON.stringify(value));
    return value;
  };
  const tif = (path: string): string => path.replace(/\.dzi$/, '.tif');
  const loose = plateTiles(true);
  const plates = change<Plates>('plates.json', (p) => {
    p.path = tif(p.path);
    p.tiles = plateTiles(true, 'packed');
  });
  change<Pictures>('pictures.json', (p) => {
    p.portrait_tiles = plateTiles(true, 'packed');
    p.render_tiles = renderTiles(true, 'packed');
    for (const { portrait, render } of p.layers)
      for (const one of [portrait, render]) if (one) one.path = tif(one.path);
  });
  const { width_px: width, height_px: height } = plates.grid;
  const level = maximumLevel({ width, height, tilePx: 256 });
  for (const below of ['plates', 'portraits', 'renders'])
    for (const name of readdirSync(folder).includes(below) ? readdirSync(join(folder, below)) : []) {
      if (!name.endsWith('.dzi')) continue;
      const bytes = new Uint8Array(2 * width * height);
      for (let row = 0; row * 256 < height; row++)
        for (let column = 0; column * 256 < width; column++) {
          const tile = await tilePixels(folder, `${below}/${name}`, loose, level, column, row);
          for (let p = 0; p < tile.width * tile.height; p++) {
            const at = (row * 256 + Math.floor(p / tile.width)) * width + column * 256 + (p % tile.width);
            bytes[2 * at] = tile.rgba[4 * p]!;
            bytes[2 * at + 1] = tile.rgba[4 * p + 3]!;
          }
        }
      const path = join(folder, below, name);
      await writePyramid(
        tif(path),
        { bytes, channels: 2, width, height },
        below === 'renders' ? 'lossless' : kind,
      );
      // More than a page asks for first, as the plates of a build are.
      if (kind === 'lossy') appendFileSync(tif(path), new Uint8Array(1 << 17));
      // Posters of the pages stay: they were made for the loose folio.
      rmSync(path);
      rmSync(join(path.replace(/\.dzi$/, '_files'), String(level)), { recursive: true });
    }
}

export interface PackedServers {
  /** With byte ranges, and without. */
  readonly address: string;
  readonly withoutRanges: string;
  readonly folio: string;
}

export { expect };
export const test = base.extend<object, { packed: PackedServers }>({
  packed: [
    // biome-ignore lint/correctness/noEmptyPattern: the form that fixtures without others have
    async ({}, use, { workerIndex }) => {
      const folio = await packedFolio(`${WORK}-packed-${workerIndex}`);
      const servers = [await serve(folio, true), await serve(folio, false)] as const;
      const [address, withoutRanges] = servers.map(
        (server) => `http://127.0.0.1:${(server.address() as AddressInfo).port}/`,
      ) as [string, string];
      await use({ address, withoutRanges, folio });
      for (const server of servers) {
        server.closeAllConnections();
        server.close();
      }
      rmSync(`${WORK}-packed-${workerIndex}`, { recursive: true, force: true });
    },
    { scope: 'worker' },
  ],
  baseURL: async ({ packed }, use) => use(packed.address),
});

/** The server of the command line is built on the same library. */
function serve(folder: string, ranges: boolean): Promise<Server> {
  const files = sirv(folder, { dev: true });
  const server = createServer((request, response) => {
    if (!ranges) delete request.headers.range;
    files(request, response, () => {
      response.writeHead(404).end();
    });
  });
  return new Promise((done) => server.listen(0, '127.0.0.1', () => done(server)));
}
