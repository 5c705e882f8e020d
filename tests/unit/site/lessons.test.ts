/** Lessons on their way to the page: answers, terms, mathematics. Distances are worked out on paper. */
import { describe, expect, it } from 'vitest';
import { InputFault } from '../../../shared/errors.ts';
import { glossary, mergeTerms, parseGlossary } from '../../../site/lib/glossary.ts';
import { depthOff, judgePlace, offsetTo, wayWords } from '../../../site/lib/lesson-answer.ts';
import { cutTerms } from '../../../site/lib/link-terms.ts';
import { renderMarkdown } from '../../../site/lib/markdown.ts';

describe('an answer', () => {
  it('is measured to the nearest place of a box or a polygon', () => {
    expect(offsetTo([0, 0, 2, 1], 1, 0.5)).toEqual([0, 0]);
    expect(offsetTo([0, 0, 2, 1], 5, 5)).toEqual([-3, -4]);
    // A right triangle with its long side on x + y = 4: from (4, 4) to its middle (2, 2).
    const off = offsetTo([0, 0, 4, 0, 0, 4], 4, 4);
    expect(off[0]).toBeCloseTo(-2, 12);
    expect(off[1]).toBeCloseTo(-2, 12);
    expect(offsetTo([0, 0, 4, 0, 0, 4], 1, 1)).toEqual([0, 0]);
  });

  it('is right within its reach, and says the way otherwise', () => {
    const answer = { kind: 'place', shapes: [[1, 1, 1, 1]], reachUm: 0.3 } as const;
    expect(judgePlace(answer, 1.2, 1.2).right).toBe(true);
    expect(judgePlace(answer, 1.3, 1.3).right).toBe(false);
    expect(wayWords(judgePlace(answer, 0, 0).offUm)).toBe('up and to the right');
    expect(wayWords(judgePlace(answer, 4, 1.1).offUm)).toBe('to the left');
    expect(wayWords(judgePlace(answer, 1, 4).offUm)).toBe('down');
    expect(judgePlace({ ...answer, shapes: [] }, 1, 1).right).toBe(false);
  });

  it('in depth says up or down', () => {
    const answer = { kind: 'depth', fromUm: 2, toUm: 3 } as const;
    expect([1.5, 2, 2.5, 3, 3.25].map((z) => depthOff(answer, z))).toEqual([0.5, 0, 0, 0, -0.25]);
  });
});

describe('terms', () => {
  const terms = parseGlossary(
    '## drawn layer (drawn layers)\nA.\n\n## layer\nB.\n\n## via (vias)\nC.\n',
    'g.md',
  );
  it('are linked once, the longer form first, whole words only', () => {
    const parts = cutTerms('Vias of a drawn layer; a via, aviation, another layer.', terms);
    expect(parts.filter((part) => part.id !== null)).toEqual([
      { text: 'Vias', id: 'via' },
      { text: 'drawn layer', id: 'drawn-layer' },
      { text: 'layer', id: 'layer' },
    ]);
    expect(parts.map((part) => part.text).join('')).toBe(
      'Vias of a drawn layer; a via, aviation, another layer.',
    );
  });

  it('are linked in text, not in links, code or headings', () => {
    const html = renderMarkdown('# A via\n\n[via](x) `via` via', { links: { terms, address: 'g/' } });
    expect(html.match(/g\/#via/g)).toHaveLength(1);
    expect(html).toContain('<a href="g/#via" class="term">via</a></p>');
  });

  it('of a campaign win over ours, and a slip in them has its line', async () => {
    const own = await glossary();
    expect(own.length).toBeGreaterThan(30);
    const merged = mergeTerms(own, parseGlossary('## Via\nOurs.\n', 'g.md'));
    expect(merged.filter((term) => term.id === 'via')).toEqual([
      { id: 'via', term: 'Via', forms: ['Via'], text: 'Ours.' },
    ]);
    expect(() => parseGlossary('text\n', 'g.md')).toThrow(/g\.md, line 1/);
    expect(() => parseGlossary('## a\nx\n\n## b\n\n## c\nx\n', 'g.md')).toThrow(
      /line 4: expected what "b" means/,
    );
    expect(() => parseGlossary('## a\nx\n\n## A\nx\n', 'g.md')).toThrow(InputFault);
  });
});

describe('mathematics', () => {
  // The elements are those of MathML 3 (W3C Recommendation) for a subscript and a fraction.
  it('becomes MathML without styles or scripts', () => {
    const html = renderMarkdown('Inline $k_z$.\n\n$$\n\\frac{a}{b}\n$$\n');
    expect(html).toMatch(/<math[^>]*>.*<msub><mi>k<\/mi><mi>z<\/mi><\/msub>/s);
    expect(html).toMatch(/<math[^>]*display="block"[^>]*>.*<mfrac><mi>a<\/mi><mi>b<\/mi><\/mfrac>/s);
    expect(html).not.toMatch(/style=|<svg/);
  });

  it('that is wrong is told with its line', () => {
    const faults: [string, number][] = [];
    renderMarkdown('ok\n\n$$\n\\frac{a\n$$\n', { onFault: (reason, line) => faults.push([reason, line]) });
    expect(faults).toHaveLength(1);
    expect(faults[0]![1]).toBe(3);
  });

  it('cannot carry an address or markup', () => {
    const html = renderMarkdown('$\\href{javascript:alert(1)}{x}$ $\\text{<img src=x onerror=alert(1)>}$');
    expect(html).not.toMatch(/href=|<img/);
  });
});
