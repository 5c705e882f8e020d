/** Text that comes from a campaign: Markdown, lessons, citation. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Folio } from '../../../shared/artefacts/folio.ts';
import { InputFault } from '../../../shared/errors.ts';
import { citation, doiAddress, licenceAddress } from '../../../site/lib/citation.ts';
import { lessonSlug, loadLessons } from '../../../site/lib/lessons.ts';
import { picturesOf, renderMarkdown, staysHere } from '../../../site/lib/markdown.ts';
import { listed, verdictWords } from '../../../site/lib/words.ts';

describe('Markdown', () => {
  // Vectors of the OWASP XSS filter evasion cheat sheet, as they reach a Markdown reader.
  it.each([
    '<script>alert(1)</script>',
    '<img src=x onerror=alert(1)>',
    '[a](javascript:alert(1))',
    '![a](javascript:alert(1))',
    '<a href="jav&#x09;ascript:alert(1)">x</a>',
    '<svg onload=alert(1)></svg>',
    '<iframe src="//example.invalid"></iframe>',
    '<style>*{background:url(//example.invalid)}</style>',
    '<p style="background:url(//example.invalid)">x</p>',
  ])('takes the sting out of %s', (text) => {
    const html = renderMarkdown(text);
    expect(html).not.toMatch(/<script|<iframe|<svg|<style|onerror|onload|style=|href="jav|src="jav/i);
  });

  it.each([
    'https://example.invalid/x.png',
    '//example.invalid/x.png',
    '/x.png',
    '\\\\host\\x.png',
    'data:image/png;base64,AA',
  ])('shows words for the foreign picture %s', (src) => {
    expect(renderMarkdown(`![a via](${src})`)).not.toContain('<img');
    expect(picturesOf(`![a via](${src})`)).toEqual([]);
  });

  it('keeps pictures that lie beside the text, and ordinary links', () => {
    expect(renderMarkdown('![a via](pictures/via.png)')).toContain(
      '<img src="pictures/via.png" alt="a via">',
    );
    expect(picturesOf('![a](pictures/via%201.png)')).toEqual(['pictures/via 1.png']);
    expect(renderMarkdown('[x](https://example.invalid/)')).toContain('href="https://example.invalid/"');
    expect(staysHere('a:b')).toBe(false);
  });

  it('leaves the first heading level to the page', () => {
    expect(renderMarkdown('# A\n\n## B')).toMatch(/<h2>A<\/h2>\s*<h3>B<\/h3>/);
    expect(renderMarkdown('## B')).toContain('<h2>B</h2>');
  });
});

const sources = (folder: string | undefined) => ({ folder, world: { scans: [] }, terms: [], root: './' });

describe('lessons', () => {
  let folder: string;
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'lessons-'));
  });
  afterEach(() => rmSync(folder, { recursive: true }));
  const write = (name: string, text: string): void => writeFileSync(join(folder, name), text);
  const faultOf = async (): Promise<InputFault> => {
    const error = await loadLessons(sources(folder)).then(
      () => null,
      (caught: unknown) => caught,
    );
    expect(error).toBeInstanceOf(InputFault);
    return error as InputFault;
  };

  it('come in their order, then by name', async () => {
    write('b.md', '---\ntitle: B\n---\ntext');
    write('c.md', '---\ntitle: C\norder: 1\n---\n');
    write('a.md', '---\r\ntitle: A\r\n---\r\ntext\r\n');
    expect((await loadLessons(sources(folder))).map((lesson) => lesson.title)).toEqual(['C', 'A', 'B']);
  });

  it('are none without a folder', async () => expect(await loadLessons(sources(undefined))).toEqual([]));

  it('name the line of a wrong front matter', async () => {
    write('a.md', '---\nsummary: x\ntitle: 5\n---\n');
    expect((await faultOf()).message).toContain('a.md, line 3, title: expected a string, found 5');
  });

  it('ask for a front matter', async () => {
    write('a.md', '# No front matter\n');
    expect((await faultOf()).tag).toBe('malformed');
  });

  it.each(['missing.png', '../outside.png'])('ask for the picture %s', async (path) => {
    write('a.md', `---\ntitle: A\n---\n![x](${path})\n`);
    expect((await faultOf()).message).toContain(path);
  });

  it.each([
    ['01 Fill & wiring.md', '01-fill-wiring'],
    ['stack.md', 'stack'],
    ['---.md', 'lesson'],
  ])('%s is addressed as %s', (name, slug) => expect(lessonSlug(name)).toBe(slug));
});

describe('citation', () => {
  const folio = {
    title: 'Tide gauge logger, lot 7',
    creators: [{ name: 'Example, A.' }, { name: 'Sample, B.' }],
    publisher: 'Example Institute',
    year: 2026,
    identifier: '10.5555/example',
  } as Folio;

  // DataCite Metadata Schema 4.5, recommended citation: Creator (PublicationYear): Title. Publisher. Identifier.
  it('has the order that DataCite recommends', () => {
    expect(citation(folio)).toBe(
      'Example, A.; Sample, B. (2026): Tide gauge logger, lot 7. Example Institute. https://doi.org/10.5555/example',
    );
  });

  it('leaves out what is not there', () => {
    const bare = { ...folio, creators: [], publisher: null, year: null, identifier: null };
    expect(citation(bare)).toBe('Tide gauge logger, lot 7');
  });

  it('makes an address of a DOI only', () => {
    expect(doiAddress('hdl:1/2')).toBe('hdl:1/2');
    expect(licenceAddress('MIT')).toBe('https://spdx.org/licenses/MIT.html');
  });
});

describe('words', () => {
  it('tell a hand-made placement from a found one', () => {
    expect(verdictWords('locked', 'landmarks').short).not.toBe(verdictWords('locked', 'automatic').short);
  });
  it('join lists', () => {
    expect(listed([])).toBe('');
    expect(listed(['a', 'b', 'c'])).toBe('a, b and c');
  });
});
