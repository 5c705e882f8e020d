/** The directions of imports: who may know whom. */
import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { describe, expect, it } from 'vitest';

const ROOT = join(import.meta.dirname, '..', '..');
const SOURCE = /\.(ts|mjs|astro)$/;

function sources(folder: string): string[] {
  return readdirSync(join(ROOT, folder), { recursive: true, encoding: 'utf8' })
    .map((name) => join(folder, name).replaceAll('\\', '/'))
    .filter((name) => SOURCE.test(name) && !name.includes('/campaign/') && !name.includes('node_modules'));
}

/** Paths of ours that a file imports, relative to the root. */
function imports(file: string): string[] {
  const text = readFileSync(join(ROOT, file), 'utf8');
  const found = [...text.matchAll(/(?:from|import)\s*\(?\s*['"](\.[^'"]+)['"]/g)].map((m) => m[1]!);
  return found.map((path) => relative(ROOT, join(ROOT, dirname(file), path)).replaceAll('\\', '/'));
}

/** Imports of files below `folder` that none of the allowed beginnings matches. */
function strays(folder: string, allowed: (file: string) => readonly string[]): string[] {
  return sources(folder).flatMap((file) =>
    imports(file)
      .filter((path) => !allowed(file).some((start) => path.startsWith(start)))
      .map((path) => `${file} -> ${path}`),
  );
}

describe('import directions', () => {
  it('finds the sources and their imports', () => {
    expect(imports('pipeline/run.ts')).toContain('shared/errors.ts');
    for (const folder of ['shared', 'pipeline', 'site', 'demo-volume'])
      expect(sources(folder).length).toBeGreaterThan(3);
  });

  it('shared knows nobody', () => {
    expect(strays('shared', () => ['shared/'])).toEqual([]);
  });

  it('shared uses neither Node nor the DOM', () => {
    const bad = sources('shared').filter((file) =>
      /from 'node:|\bdocument\.(?!getIn|toJS|errors|contents)|\bwindow\./.test(
        readFileSync(join(ROOT, file), 'utf8'),
      ),
    );
    expect(bad).toEqual([]);
  });

  it('formats know shared', () => {
    expect(strays('pipeline/formats', () => ['shared/', 'pipeline/formats/'])).toEqual([]);
  });

  it('kernels know shared', () => {
    expect(strays('pipeline/kernels', () => ['shared/', 'pipeline/kernels/'])).toEqual([]);
  });

  it('a stage knows its own folder, and never another stage', () => {
    const own = (file: string) => `${file.split('/').slice(0, 3).join('/')}/`;
    const common = [
      'shared/',
      'pipeline/formats/',
      'pipeline/kernels/',
      'pipeline/output/',
      'pipeline/workers/',
    ];
    expect(strays('pipeline/stages', (file) => [...common, own(file)])).toEqual([]);
  });

  it('only run.ts and its folder join stages', () => {
    const joining = sources('pipeline').filter((file) => {
      const stages = new Set(
        imports(file).flatMap((path) => /^pipeline\/stages\/([^/]+)\//.exec(path)?.[1] ?? []),
      );
      return stages.size > 1;
    });
    expect(joining.filter((file) => !/^pipeline\/run(\.ts|\/)/.test(file))).toEqual([]);
    expect(joining).toContain('pipeline/run.ts');
  });

  it('the site and the pipeline never import each other', () => {
    expect(strays('site', () => ['shared/', 'site/'])).toEqual([]);
    expect(
      sources('pipeline').filter((file) => imports(file).some((path) => path.startsWith('site/'))),
    ).toEqual([]);
  });

  it('the demo generator shares only units with the pipeline', () => {
    expect(strays('demo-volume', () => ['demo-volume/', 'shared/units.ts'])).toEqual([]);
  });
});

describe('files', () => {
  it('stay below 400 lines', () => {
    const long = ['shared', 'pipeline', 'site', 'demo-volume']
      .flatMap(sources)
      .filter((file) => readFileSync(join(ROOT, file), 'utf8').split('\n').length > 400);
    expect(long).toEqual([]);
  });
});
