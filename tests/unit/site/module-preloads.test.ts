/** Scripts that are named in the head of a page. @source HTML Living Standard, "Link type modulepreload". */
import { describe, expect, it } from 'vitest';
import { withPreloads } from '../../../site/build/module-preloads.ts';

const FILES: Record<string, string> = {
  '../../assets/viewer.js':
    'import{a as e}from"./shared.js";import"./side.js";const l=()=>import("./later.js");e(l)',
  '../../assets/shared.js': 'import{n}from"./deep/base.js";export const a=n',
  '../../assets/side.js': 'import*as s from"./shared.js";export{s};// import "./comment.js"',
  '../../assets/deep/base.js': 'const t=\'import "./text.js"\';export const n=t',
};
const read = async (path: string): Promise<string> => {
  const text = FILES[path];
  if (text === undefined) throw new Error(`${path} was asked for`);
  return text;
};
const page = (body: string): string => `<html><head><title>t</title></head><body>${body}</body></html>`;

describe('preloaded modules', () => {
  it('are all that a page needs at once, each once, and nothing that comes on demand', async () => {
    const html = await withPreloads(
      page('<script type="module" src="../../assets/viewer.js"></script>'),
      read,
    );
    const named = [...html.matchAll(/<link rel="modulepreload" href="([^"]+)">/g)].map((found) => found[1]);
    expect(named.sort()).toEqual(
      ['deep/base', 'shared', 'side'].map((name) => `../../assets/${name}.js`).sort(),
    );
    expect(html.indexOf('modulepreload')).toBeLessThan(html.indexOf('</head>'));
  });

  it('are none on a page without scripts', async () => {
    const html = page('<script type="application/ld+json">{}</script>');
    expect(await withPreloads(html, read)).toBe(html);
  });
});
