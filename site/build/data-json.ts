/** JSON whose texts are data: a text that happens to spell the base of the site is not taken for an address. */
import { SENTINEL } from './relative-links.ts';

/** The same value to every reader of JSON: a slash may be written with a backslash before it (RFC 8259, section 7). */
export const dataJson = (value: unknown): string =>
  JSON.stringify(value).replaceAll(SENTINEL, SENTINEL.replaceAll('/', '\\/'));
