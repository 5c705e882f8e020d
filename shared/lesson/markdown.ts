/** Markdown of a lesson to a syntax tree that knows our directives and mathematics. */
import type { Root, RootContent } from 'mdast';
import type { ContainerDirective, LeafDirective, TextDirective } from 'mdast-util-directive';
import remarkDirective from 'remark-directive';
import remarkGfm from 'remark-gfm';
import remarkMath from 'remark-math';
import remarkParse from 'remark-parse';
import { unified } from 'unified';

export type Directive = ContainerDirective | LeafDirective | TextDirective;

const parser = unified().use(remarkParse).use(remarkGfm).use(remarkMath).use(remarkDirective).freeze();

/** Tree of a Markdown text, with the line of every node. Directives without brackets or braces stay text. */
export function parseMarkdown(markdown: string): Root {
  const tree = parser.parse(markdown);
  literal(tree);
  return tree;
}

export const isDirective = (node: { type: string }): node is Directive =>
  node.type === 'containerDirective' || node.type === 'leafDirective' || node.type === 'textDirective';

/** In "ratio a:b" or "metal:silicon" nobody meant a directive. */
function literal(node: { children?: unknown[] }): void {
  const children = node.children as (RootContent & { children?: unknown[] })[] | undefined;
  if (!children) return;
  for (const [n, child] of children.entries()) {
    if (
      child.type === 'textDirective' &&
      child.children.length === 0 &&
      Object.keys(child.attributes ?? {}).length === 0
    ) {
      children[n] = {
        type: 'text',
        value: `:${child.name}`,
        ...(child.position && { position: child.position }),
      };
    } else literal(child);
  }
}

/** Every node below, depth first. */
export function* nodesOf(node: object): Generator<RootContent> {
  for (const child of (node as { children?: RootContent[] }).children ?? []) {
    yield child;
    yield* nodesOf(child);
  }
}

/** Words of a node without their form. */
export function plainText(node: object): string {
  if ('value' in node && typeof node.value === 'string') return node.value;
  return ((node as { children?: object[] }).children ?? []).map(plainText).join('');
}
