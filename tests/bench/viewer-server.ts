/** A folio served as a web host serves it, text compressed, and beside it a bare page with plain OpenSeadragon. */
import { readFileSync, statSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import { createRequire } from 'node:module';
import { extname, join, normalize } from 'node:path';
import { gzipSync } from 'node:zlib';

const KINDS: Record<string, string> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript',
  '.css': 'text/css',
  '.json': 'application/json',
  '.svg': 'image/svg+xml',
  '.dzi': 'application/xml',
  '.webp': 'image/webp',
  '.woff2': 'font/woff2',
};
const COMPRESSED = new Set(['.html', '.js', '.css', '.json', '.svg', '.dzi']);

/** Sequence mode over the plates of a scan, as its documentation shows it; its own tile cache and queue. */
const plainPage = (scan: string, plates: number, first: number): string => `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>plain</title><link rel="icon" href="data:,">
<style>html, body, #view { margin: 0; height: 100%; background: #0b0c0e }</style></head>
<body><div id="view"></div><script src="/plain/openseadragon.min.js"></script>
<script src="/plain/start.js" data-scan="${scan}" data-plates="${plates}" data-first="${first}"></script></body></html>`;

const PLAIN_START = `
const { scan, plates, first } = document.currentScript.dataset;
window.viewer = OpenSeadragon({
  id: 'view', sequenceMode: true, preserveViewport: true, showNavigationControl: false, drawer: 'canvas',
  showSequenceControl: false, initialPage: Number(first),
  tileSources: Array.from({ length: Number(plates) }, (_, n) =>
    '/data/' + scan + '/plates/' + String(n).padStart(4, '0') + '.dzi'),
});
window.drawnPage = -1;
viewer.addHandler('tile-drawn', (event) => {
  const path = String(event.tile.getUrl());
  window.drawnPage = Number(/plates\\/(\\d+)_files/.exec(path)[1]);
  window.firstDrawn ??= performance.now();
});
`;

export async function serveBoth(
  folder: string,
  scan: string,
  plates: number,
  first: number,
): Promise<{ server: Server; base: string }> {
  const engine = createRequire(import.meta.url).resolve(
    'openseadragon/build/openseadragon/openseadragon.min.js',
  );
  const own: Record<string, [string, string | Buffer]> = {
    '/plain/': ['.html', plainPage(scan, plates, first)],
    '/plain/start.js': ['.js', PLAIN_START],
    '/plain/openseadragon.min.js': ['.js', readFileSync(engine)],
  };
  const held = new Map<string, Buffer>();
  const server = createServer((request, response) => {
    const path = decodeURIComponent(new URL(request.url ?? '/', 'http://x').pathname);
    const [kind, body] = own[path] ?? fromDisk(folder, path) ?? ['', null];
    if (body === null) {
      response.writeHead(404).end();
      return;
    }
    const head: Record<string, string> = { 'content-type': KINDS[kind] ?? 'application/octet-stream' };
    if (!COMPRESSED.has(kind)) {
      response.writeHead(200, head).end(body);
      return;
    }
    let packed = held.get(path);
    if (!packed) {
      packed = gzipSync(body, { level: 9 });
      held.set(path, packed);
    }
    response.writeHead(200, { ...head, 'content-encoding': 'gzip' }).end(packed);
  });
  await new Promise<void>((ready) => server.listen(0, '127.0.0.1', ready));
  const { port } = server.address() as { port: number };
  return { server, base: `http://127.0.0.1:${port}` };
}

function fromDisk(folder: string, path: string): [string, Buffer] | null {
  let file = join(folder, normalize(path));
  try {
    if (statSync(file).isDirectory()) file = join(file, 'index.html');
    return [extname(file), readFileSync(file)];
  } catch {
    return null;
  }
}
