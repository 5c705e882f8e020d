// The pages of a folio. The pipeline runs `astro build` with one variable set, once for a version of the code:
//   STRATAFOLIO_BUNDLE   folder that receives `client`, what browsers get, and `server`, the program that makes pages
// and runs that program (site/build/print-pages.ts) over the data of each folio.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join, resolve } from 'node:path';
import { defineConfig } from 'astro/config';
import { keepBundle } from './site/build/keep-bundle.ts';
import { relativeLinks, SENTINEL } from './site/build/relative-links.ts';

const out = resolve(process.env.STRATAFOLIO_BUNDLE ?? '.stratafolio/bundle');
// Of this one run: two at the same time must not share it, and it goes with what is half-made.
const cache = join(out, 'half-made', 'cache');

// What the folio carries of others, with the licence that has to go with it; printed in the colophon.
const find = createRequire(import.meta.url);
const licences = [
  ['Source Serif 4', '@fontsource-variable/source-serif-4/LICENSE'],
  ['IBM Plex Sans', '@fontsource/ibm-plex-sans/LICENSE'],
  ['OpenSeadragon', 'openseadragon/LICENSE.txt'],
  ['MiniSearch', join(dirname(find.resolve('minisearch')), '../../LICENSE.txt')],
  // Its package lets nothing but its code be asked for.
  ['earcut', join(dirname(find.resolve('earcut')), '..', 'LICENSE')],
].map(([name, path]) => ({ name, text: readFileSync(find.resolve(path), 'utf8') }));

export default defineConfig({
  output: 'static',
  srcDir: './site',
  publicDir: './site/public',
  outDir: join(out, 'client'),
  cacheDir: cache,
  base: SENTINEL,
  trailingSlash: 'always',
  compressHTML: true,
  devToolbar: { enabled: false },
  integrations: [keepBundle(out), relativeLinks()],
  // Styles and scripts stay files of their own, so that a strict content policy needs no exception.
  build: { assets: 'assets', inlineStylesheets: 'never', format: 'directory' },
  vite: {
    cacheDir: join(cache, 'vite'),
    // Scripts that fetch more scripts find them beside themselves.
    experimental: {
      renderBuiltUrl: (_name, { hostType }) => (hostType === 'js' ? { relative: true } : undefined),
    },
    define: { 'import.meta.env.LICENCES': JSON.stringify(licences) },
    build: { assetsInlineLimit: 0, modulePreload: { polyfill: false }, chunkSizeWarningLimit: 900 },
  },
});
