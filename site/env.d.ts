/**
 * The part of the builder's content module that the site uses, typed by our own artefacts. The builder would generate
 * this from the configuration; stated here, a type check needs no build before it.
 */
declare module 'astro:content' {
  interface Collections {
    folio: import('../shared/artefacts/folio.ts').Folio;
    scans: import('./lib/artefacts.ts').ScanArtefacts;
    lessons: import('./lib/lessons.ts').Lesson;
  }
  interface Entry<Data> {
    readonly id: string;
    readonly data: Data;
  }
  export function getCollection<Name extends keyof Collections>(
    name: Name,
  ): Promise<Entry<Collections[Name]>[]>;
  export function getEntry<Name extends keyof Collections>(
    name: Name,
    id: string,
  ): Promise<Entry<Collections[Name]> | undefined>;
  export function defineCollection<Schema>(collection: {
    loader: () => Promise<readonly { id: string }[]>;
    schema: Schema;
  }): unknown;
}
