/** Links the first use of each glossary term in a text to its entry; in links, code, headings and marks none. */
import type { Element, ElementContent, Root, RootContent } from 'hast';
import type { Term } from './glossary.ts';

const CLOSED = new Set(['a', 'button', 'code', 'pre', 'math', 'h1', 'h2', 'h3', 'h4', 'h5', 'h6', 'svg']);

export interface TermLinks {
  readonly terms: readonly Term[];
  /** Address of the glossary page, to which "#term" is added. */
  readonly address: string;
  /** Terms that were linked already in what the reader sees at the same time; grows. */
  readonly seen?: Set<string>;
}

/** Longer forms first, so that "drawn layer" is not taken for "layer". */
function patternOf(terms: readonly Term[]): { pattern: RegExp; idOf: ReadonlyMap<string, string> } {
  const idOf = new Map<string, string>();
  for (const { id, forms } of terms) for (const form of forms) idOf.set(form.toLowerCase(), id);
  const forms = [...idOf.keys()].sort((a, b) => b.length - a.length);
  const escaped = forms.map((form) => form.replace(/[.*+?^${}()|[\]\\]/g, '\\$&').replace(/\s+/g, '\\s+'));
  return {
    pattern: new RegExp(`(?<![\\p{L}\\p{N}_-])(?:${escaped.join('|')})(?![\\p{L}\\p{N}_-])`, 'giu'),
    idOf,
  };
}

const compiled = new WeakMap<readonly Term[], ReturnType<typeof patternOf>>();

/** Cuts a text into plain words and terms; each term once per `seen`. */
export function cutTerms(
  text: string,
  terms: readonly Term[],
  seen: Set<string> = new Set(),
): { readonly text: string; readonly id: string | null }[] {
  if (terms.length === 0) return [{ text, id: null }];
  let made = compiled.get(terms);
  if (!made) {
    made = patternOf(terms);
    compiled.set(terms, made);
  }
  const parts: { text: string; id: string | null }[] = [];
  let from = 0;
  for (const match of text.matchAll(made.pattern)) {
    const id = made.idOf.get(match[0].toLowerCase().replace(/\s+/g, ' '));
    if (id === undefined || seen.has(id)) continue;
    seen.add(id);
    if (match.index > from) parts.push({ text: text.slice(from, match.index), id: null });
    parts.push({ text: match[0], id });
    from = match.index + match[0].length;
  }
  if (from < text.length) parts.push({ text: text.slice(from), id: null });
  return parts;
}

/** A plugin over safe HTML. */
export function linkTerms({ links }: { links?: TermLinks | undefined }) {
  return (tree: Root): void => {
    if (!links) return;
    const seen = links.seen ?? new Set<string>();
    const inside = (node: Root | Element): void => {
      node.children = (node.children as RootContent[]).flatMap((child): RootContent[] => {
        if (child.type === 'element' && !CLOSED.has(child.tagName) && !isMath(child)) inside(child);
        if (child.type !== 'text') return [child];
        return cutTerms(child.value, links.terms, seen).map(
          (part): ElementContent =>
            part.id === null
              ? { type: 'text', value: part.text }
              : {
                  type: 'element',
                  tagName: 'a',
                  properties: { href: `${links.address}#${part.id}`, className: ['term'] },
                  children: [{ type: 'text', value: part.text }],
                },
        );
      }) as never;
    };
    inside(tree);
  };
}

const isMath = (element: Element): boolean =>
  Array.isArray(element.properties.className) &&
  element.properties.className.some((name) => String(name).startsWith('math-'));
