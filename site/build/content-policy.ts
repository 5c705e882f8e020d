/**
 * A strict content policy in every page, as a meta element, since a folio lies on hosts whose headers nobody can set.
 * Nothing comes from another place; what stands inline is named by its checksum. It is made after all other steps, on
 * the bytes that are published, so that no rewriting can spoil a checksum.
 * @source W3C Content Security Policy Level 3: 3.3 (meta element), 2.3.1 (source lists), 8.3 ('unsafe-hashes').
 */
import { createHash } from 'node:crypto';

const source = (text: string): string => `'sha256-${createHash('sha256').update(text).digest('base64')}'`;
const plainText = (text: string): string =>
  text
    .replaceAll('&quot;', '"')
    .replaceAll('&#34;', '"')
    .replaceAll('&#39;', "'")
    .replaceAll('&#x27;', "'")
    .replaceAll('&lt;', '<')
    .replaceAll('&gt;', '>')
    .replaceAll('&amp;', '&');

/** Scripts that run, not data blocks. */
const RUNS = /^(?:module|text\/javascript|application\/javascript)?$/i;

/** @param html a whole page as it is published */
export function contentPolicy(html: string, hasWasm: boolean): string {
  const scripts = [...html.matchAll(/<script\b([^>]*)>([\s\S]*?)<\/script>/gi)]
    .filter(
      ([, head = '']) => !/\ssrc=/i.test(head) && RUNS.test(/\stype="?([^"\s>]*)/i.exec(head)?.[1] ?? ''),
    )
    .map(([, , text = '']) => source(text));
  const withoutScripts = html.replace(/<script\b[\s\S]*?<\/script>/gi, '');
  const styles = [...withoutScripts.matchAll(/<style\b[^>]*>([\s\S]*?)<\/style>/gi)].map(([, text = '']) =>
    source(text),
  );
  const attributes = [...withoutScripts.matchAll(/<[a-z][^<>]*?\sstyle="([^"]*)"/gi)].map(([, text = '']) =>
    source(plainText(text)),
  );
  const list = (name: string, ...sources: string[]) => `${name} ${[...new Set(sources)].join(' ')}`;
  return [
    "default-src 'none'",
    list('script-src', "'self'", ...(hasWasm ? ["'wasm-unsafe-eval'"] : []), ...scripts),
    "script-src-attr 'none'",
    list('style-src', "'self'", ...styles),
    attributes.length > 0
      ? list('style-src-attr', "'unsafe-hashes'", ...attributes)
      : "style-src-attr 'none'",
    "img-src 'self' data: blob:",
    "font-src 'self'",
    "connect-src 'self'",
    "worker-src 'self'",
    "frame-src 'self'",
    "manifest-src 'self'",
    "base-uri 'none'",
    "form-action 'none'",
  ].join('; ');
}

/** Puts the policy before anything that it governs. @throws Error for a page without a head */
export function withPolicy(html: string, path: string, hasWasm: boolean): string {
  const policy = contentPolicy(html, hasWasm);
  const at = /<meta charset="?utf-8"?\s*\/?>/i.exec(html) ?? /<head[^>]*>/i.exec(html);
  if (!at) throw new Error(`${path} has no head to put a content policy into.`);
  const end = at.index + at[0].length;
  return `${html.slice(0, end)}<meta http-equiv="Content-Security-Policy" content="${policy}">${html.slice(end)}`;
}
