/** Elements of drawings. */
const SVG = 'http://www.w3.org/2000/svg';

/** "make('line', { x1: 0, … })". */
export function make(
  name: string,
  attributes: Readonly<Record<string, string | number>> = {},
  text?: string,
): SVGElement {
  const element = document.createElementNS(SVG, name) as SVGElement;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  if (text !== undefined) element.textContent = text;
  return element;
}
