/** Markdown of a campaign to safe HTML: no script, no style, no picture from another place. */
import type { Element, Nodes, Root } from 'hast';
import rehypeSanitize, { defaultSchema } from 'rehype-sanitize';
import rehypeStringify from 'rehype-stringify';
import remarkGfm from 'remark-gfm';
import remarkParse from 'remark-parse';
import remarkRehype from 'remark-rehype';
import { unified } from 'unified';

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

/** Pictures that a text shows, as they are written in it. */
export function picturesOf(markdown: string): string[] {
  const found: string[] = [];
  walk(
    unified().use(remarkRehype).runSync(unified().use(remarkParse).use(remarkGfm).parse(markdown)),
    (element) => {
      const src = element.properties.src;
      if (element.tagName === 'img' && typeof src === 'string' && staysHere(src)) found.push(decodeURI(src));
    },
  );
  return found;
}

/** @param headingShift how many levels the text's headings move down, so that the page keeps its one title */
export function renderMarkdown(markdown: string, headingShift = 1): string {
  return String(
    unified()
      .use(remarkParse)
      .use(remarkGfm)
      .use(remarkRehype)
      .use(rehypeSanitize, defaultSchema)
      .use(tidy, { headingShift })
      .use(rehypeStringify)
      .processSync(markdown),
  );
}
