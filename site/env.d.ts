/** The part of the builder's own modules that the site uses; a type check needs no build before it. */
declare module 'astro:static-paths' {
  export const StaticPaths: typeof import('astro/runtime/prerender/static-paths.js').StaticPaths;
}
