/**
 * Ends the builder's work at the bundle: what the browser gets stays in the output folder, the program that makes the
 * pages is put beside it, and no page is made yet. @source Astro's adapter interface, `setPrerenderer`.
 */
import { rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import type { AstroIntegration } from 'astro';

/** Name of the program in its folder: the builder looks for one that begins like this. */
export const PROGRAM = 'prerender-entry.mjs';

/** @param bundle absolute; the program is put into its folder `server` */
export const keepBundle = (bundle: string): AstroIntegration => {
  const half = join(bundle, 'half-made');
  const entry = fileURLToPath(new URL('./bundle-entry.ts', import.meta.url));
  return {
    name: 'keep-bundle',
    hooks: {
      'astro:config:setup': ({ updateConfig }) => {
        updateConfig({
          build: { server: pathToFileURL(`${half}/`) },
          vite: {
            plugins: [
              {
                name: 'keep-bundle',
                configEnvironment: (name) =>
                  name === 'prerender'
                    ? {
                        // One program: found quickly, and whole wherever it is put. Only what is compiled stays outside.
                        resolve: { noExternal: true, external: ['sharp'] },
                        build: { rolldownOptions: { input: entry, output: { entryFileNames: PROGRAM } } },
                      }
                    : undefined,
              },
            ],
          },
        });
      },
      'astro:config:done': ({ setAdapter }) => {
        setAdapter({
          name: 'keep-bundle',
          entrypointResolution: 'auto',
          adapterFeatures: { buildOutput: 'static', preserveBuildServerDir: true },
          supportedAstroFeatures: { staticOutput: 'stable', sharpImageService: 'stable' },
        });
      },
      'astro:build:start': ({ setPrerenderer }) => {
        setPrerenderer({
          name: 'keep-bundle',
          setup: () => rename(join(half, '.prerender'), join(bundle, 'server')),
          getStaticPaths: async () => [],
          render: async () => new Response(null),
        });
      },
      'astro:build:done': () => rm(half, { recursive: true, force: true }),
    },
  };
};
