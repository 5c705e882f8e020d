/** Markdown of a campaign to safe HTML: no script, no style, no picture from another place. */
import type { Element, Nodes, Root } from 'hast';
import type { RootContent } from 'mdast';
import rehypeKatex from 'rehype-katex';
import rehypeSanitize, { defaultSchema } from 'rehype-sanitize';
import rehypeStringify from 'rehype-stringify';
import remarkRehype from 'remark-rehype';
import { unified } from 'unified';
import { VFile } from 'vfile';
import { type Directive, parseMarkdown } from '../../shared/lesson/markdown.ts';
import { linkTerms, type TermLinks } from './link-terms.ts';

/** True for an address that stays beside the page: no scheme, no host, not up to the server's root. */
export const staysHere = (address: string): boolean =>
  address !== '' && !/^(?:[a-z][a-z0-9+.-]*:|\/)/i.test(address) && !/\\|%5c/i.test(address);

function walk(node: Nodes, visit: (element: Element) => void): void {
  if (node.type === 'element') visit(node);
  if ('children' in node) for (const child of node.children) walk(child, visit);
}

/** Pictures from elsewhere become their words; headings make room for the page's own. */
function tidy({ headingShift }: { headingShift: number }) {
  return (tree: Root): void => {
    let hasFirst = false;
    walk(tree, (element) => {
      if (element.tagName === 'h1') hasFirst = true;
    });
    walk(tree, (element) => {
      const heading = /^h([1-6])$/.exec(element.tagName);
      if (heading && (hasFirst || headingShift > 1)) {
        element.tagName = `h${Math.min(6, Number(heading[1]) + (hasFirst ? headingShift : headingShift - 1))}`;
      }
      if (element.tagName === 'img' && !staysHere(String(element.properties.src ?? ''))) {
        element.tagName = 'span';
        element.children = [{ type: 'text', value: String(element.properties.alt || 'picture') }];
        element.properties = {};
      }
      if (element.tagName === 'input') element.properties.ariaLabel = 'done';
      if (element.tagName === 'table') element.properties.tabIndex = 0;
    });
  };
}

/** Words that point into the picture become buttons; only our own directive makes them, raw HTML cannot. */
function pointing() {
  return (tree: Root): void =>
    walk(tree, (element) => {
      const number = element.properties.dataMark;
      if (element.tagName !== 'span' || number === undefined) return;
      element.tagName = 'button';
      element.properties = { type: 'button', className: ['pointing'], dataMark: number };
      element.children.push({
        type: 'element',
        tagName: 'span',
        properties: { className: ['mark-number'] },
        children: [{ type: 'text', value: String(number) }],
      });
    });
}

/** A leaf mark is in the picture only; one in the text is text as well. */
const handlers = {
  textDirective: (state: { all: (node: never) => unknown[] }, node: Directive) => ({
    type: 'element',
    tagName: 'span',
    properties: node.data?.hProperties ?? {},
    children: state.all(node as never),
  }),
  leafDirective: () => undefined,
  containerDirective: () => undefined,
};

const schema = {
  ...defaultSchema,
  attributes: {
    ...defaultSchema.attributes,
    span: [['dataMark', /^\d+$/]],
    // How mathematics is handed from one plugin to the next.
    code: [['className', /^language-./, 'math-inline', 'math-display']],
  },
} as typeof defaultSchema;

export interface MarkdownOptions {
  /** How many levels the text's headings move down, so that the page keeps its one title. */
  readonly headingShift?: number;
  /** Terms are not linked without. */
  readonly links?: TermLinks | undefined;
  /** Told where mathematics is wrong: what, and the line of the text. */
  readonly onFault?: (reason: string, line: number) => void;
}

/** Parsed Markdown to safe HTML. */
export function renderNodes(nodes: readonly RootContent[], options: MarkdownOptions = {}): string {
  const { headingShift = 1, links, onFault } = options;
  const messages = new VFile();
  const pipeline = unified()
    .use(remarkRehype, { handlers: handlers as never })
    .use(rehypeSanitize, schema)
    .use(tidy, { headingShift })
    .use(pointing)
    .use(linkTerms, { links })
    // MathML alone: no fonts, no styles, read aloud as what it is.
    .use(rehypeKatex, { output: 'mathml' });
  const tree = pipeline.runSync({ type: 'root', children: [...nodes] } as never, messages) as Root;
  for (const { cause, reason, line, ancestors } of messages.messages) {
    const around = ancestors?.findLast((node) => node.position)?.position?.start.line;
    onFault?.(cause instanceof Error ? cause.message : reason, line ?? around ?? 1);
  }
  return unified().use(rehypeStringify).stringify(tree);
}

export const renderMarkdown = (markdown: string, options: MarkdownOptions | number = {}): string =>
  renderNodes(
    parseMarkdown(markdown).children,
    typeof options === 'number' ? { headingShift: options } : options,
  );

/** Pictures that a text shows, as they are written in it. */
export function picturesOf(markdown: string): string[] {
  const found: string[] = [];
  const collect = (node: { type: string; url?: string; children?: unknown[] }): void => {
    if ((node.type === 'image' || node.type === 'definition') && staysHere(node.url ?? '')) {
      if (node.type === 'image' || PICTURE.test(node.url!)) found.push(decodeURI(node.url!));
    }
    for (const child of node.children ?? []) collect(child as typeof node);
  };
  collect(parseMarkdown(markdown) as never);
  return found;
}

/** A definition may be of a picture or of a link; only its ending tells. */
const PICTURE = /\.(png|jpe?g|webp|gif|avif|svg)$/i;
