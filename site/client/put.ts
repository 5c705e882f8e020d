/** Writes into the page what has changed, and nothing else: the browser restyles and repaints even for the same again. */

/** The words of an element that holds nothing but words. */
export function putWords(element: Element | null, words: string): void {
  if (!element || element.textContent === words) return;
  const { firstChild } = element;
  // A text that stays the same node is laid out anew, but not attached anew.
  if (element.childNodes.length === 1 && firstChild instanceof Text) firstChild.data = words;
  else element.textContent = words;
}

export function putAttribute(element: Element | null, name: string, value: string): void {
  if (element && element.getAttribute(name) !== value) element.setAttribute(name, value);
}

export function putHidden(element: HTMLElement, hidden: boolean): void {
  if (element.hidden !== hidden) element.hidden = hidden;
}
