// The site of a folio. The pipeline runs `astro build` with three variables set:
//   STRATAFOLIO_DATA     folder with folio.json and one folder per scan
//   STRATAFOLIO_LESSONS  folder with the prepared lessons; may be unset
//   STRATAFOLIO_OUT      folder that receives the pages
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { defineConfig } from 'astro/config';
import { contentPolicies } from './site/build/content-policy.ts';
import { modulePreloads } from './site/build/module-preloads.ts';
import { relativeLinks, SENTINEL } from './site/build/relative-links.ts';

const out = resolve(process.env.STRATAFOLIO_OUT ?? '.stratafolio/site');
// One cache per output folder and process: two builds at the same time must not share a content store.
const cache = join(
  tmpdir(),
  `stratafolio-${createHash('sha256').update(`${out}\0${process.pid}`).digest('hex').slice(0, 12)}`,
);

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
  outDir: out,
  cacheDir: cache,
  base: SENTINEL,
  trailingSlash: 'always',
  compressHTML: true,
  devToolbar: { enabled: false },
  integrations: [relativeLinks(), modulePreloads(), contentPolicies()],
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
