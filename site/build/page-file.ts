/** Where a page lies in the folio: a folder of its own, so that its address ends with a slash. */

/**
 * @param pathname of the route, as "/scan/fine"
 * @returns path below the folio, with forward slashes
 */
export function fileOfPage(pathname: string, type: string): string {
  const path = pathname.replace(/^\/|\/$/g, '');
  if (type !== 'page') return path;
  if (path === '404') return '404.html';
  return path === '' ? 'index.html' : `${path}/index.html`;
}
