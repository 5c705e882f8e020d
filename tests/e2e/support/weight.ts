/** What a page weighs before its first tile, compressed as a server would send it. */
import { gzipSync } from 'node:zlib';
import type { Page } from '@playwright/test';

export interface Weight {
  readonly all: number;
  readonly script: number;
}

/** To be called before the page is opened. @returns what had come when it is asked, in bytes */
export function weigh(page: Page): () => Promise<Weight> {
  const parts: { kind: string; bytes: Promise<number> }[] = [];
  page.on('response', (response) => {
    const url = new URL(response.url()).pathname;
    // Tiles and their lists are the content, not the page.
    if (url.includes('/data/')) return;
    const bytes = response.body().then(
      // Typefaces are compressed already.
      (body) => (url.endsWith('.woff2') ? body.length : gzipSync(body, { level: 9 }).length),
      () => 0,
    );
    parts.push({ kind: url.slice(url.lastIndexOf('.') + 1), bytes });
  });
  return async () => {
    let all = 0;
    let script = 0;
    for (const part of parts) {
      const bytes = await part.bytes;
      all += bytes;
      if (part.kind === 'js') script += bytes;
    }
    return { all, script };
  };
}
