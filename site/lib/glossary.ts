/**
 * Words of the trade that a reader may not know, in plain sentences of our own. A campaign may add to them, or say
 * them differently, in a Markdown file of its own: "## term (other form, other form)", then text.
 */
import { readFile } from 'node:fs/promises';
import { InputFault } from '../../shared/errors.ts';
import { parseMarkdown, plainText } from '../../shared/lesson/markdown.ts';

export interface Term {
  /** Fragment of its entry. */
  readonly id: string;
  readonly term: string;
  /** Every way in which it is written in a text, the term itself included. */
  readonly forms: readonly string[];
  /** Markdown. */
  readonly text: string;
}

const OWN = `
## active area (active areas)
Where the silicon itself conducts: sources, drains and the channels between them. A gate line that crosses it makes a transistor.

## bias
How much wider or narrower everything on a layer came out than it was drawn, the same at every edge.

## bridge (bridges)
Metal between two conductors that the drawing keeps apart. It joins two nets: a short.

## cell (cells, standard cell, standard cells)
A piece of layout that is drawn once and used in many places, such as an inverter or a bit of memory.

## contact (contacts)
The lowest kind of via: a plug of metal from the first metal down to a gate or to the silicon.

## corner rounding
Light cannot print a sharp corner, so corners that are square in the drawing come out round in the metal.

## die
The piece of silicon with one chip on it. Die coordinates are those of the layout: X right, Y up, in micrometres.

## drain (drains)
One end of a transistor, from which its current goes on to the output.

## drawn layer (drawn layers)
A layer number and a data type of the layout file. The process table says which drawn layers make which layer of the chip.

## fill
Small shapes without electrical purpose that the fab adds where a metal is sparse, so that polishing wears the wafer down evenly.

## finding (findings)
One place where image and drawing differ, or could not be judged, with the odds that it is real.

## gate (gates, gate line, gate lines)
The line of polysilicon over a transistor's channel. Its voltage opens and closes the transistor.

## landmark (landmarks)
A point that can be recognised both in a scan and in the drawing, set by a person to place the scan.

## laminography
X-ray imaging of something flat: it turns about an axis that stands at a slant to the beam, so that the beam never has to pass along it.

## layout (layouts)
The drawing of the chip: polygons on drawn layers, in cells.

## metal (metals)
A layer of wires. Metal 1 is the lowest; the numbers count upward.

## missing cone
Directions in which laminography measures nothing, around the normal of the slices. Even films and slow changes with depth leave no trace in the image.

## net (nets)
Conductors that are one, joined through vias.

## open (opens)
A drawn conductor that is broken in the chip, so that one net becomes two.

## oxide (oxides)
The glass between the wires. It insulates them and carries the next layer.

## placement
The map from a scan's voxels to places on the die, with how sure it is.

## plate (plates)
An image at one height above the silicon, computed from the slices so that it lies level with the chip's layers.

## polysilicon (poly)
Silicon of many small crystals, deposited as a film. It makes the gates, and short wires between them.

## portrait (portraits)
The image of one layer: its plates combined over the layer's thickness.

## rail (rails, ground rail, supply rail)
A wide wire along a row of cells that brings them ground or supply.

## render (renders)
The drawing of one layer, rastered onto the grid of the plates.

## resolution
The finest detail that an image tells apart. It is measured, and is coarser than a voxel.

## slice (slices)
One image of a volume as it was reconstructed. It need not be level with the chip's layers.

## source (sources)
The end of a transistor at which its current comes in, tied to a rail in most cells.

## stack
All layers of a process from the silicon up, with their heights, thicknesses and materials.

## transistor (transistors)
A switch: a voltage on its gate lets current pass from source to drain, or stops it.

## tungsten
A dense metal that fills contacts and vias well. To X-rays it is the strongest material of many chips.

## via (vias)
A plug of metal through the oxide that joins two conductors, one above the other.

## voxel (voxels)
One value of a volume, the three-dimensional sister of a pixel.

## well (wells)
A part of the silicon that was doped the other way, in which transistors of the opposite kind lie.
`;

/** @throws InputFault with the line for a text that is no glossary */
export function parseGlossary(markdown: string, file: string): Term[] {
  const terms: { term: string; forms: string[]; from: number; line: number; to: number }[] = [];
  for (const node of parseMarkdown(markdown).children) {
    const start = node.position!.start;
    if (node.type !== 'heading') {
      if (terms.length === 0)
        throw fault(file, start.line, 'a heading "## term"', 'text before the first heading');
      terms.at(-1)!.to = node.position!.end.offset!;
      continue;
    }
    const words = /^(.+?)(?:\s*\((.+)\))?$/.exec(plainText(node).trim());
    if (!words) throw fault(file, start.line, 'a term in the heading', 'none');
    const term = words[1]!;
    const others = (words[2] ?? '')
      .split(',')
      .map((form) => form.trim())
      .filter(Boolean);
    const end = node.position!.end.offset!;
    terms.push({ term, forms: [term, ...others], from: end, to: end, line: start.line });
  }
  const ids = new Set<string>();
  return terms.map(({ term, forms, from, to, line }) => {
    const id = term
      .toLowerCase()
      .replace(/[^\p{L}\p{N}]+/gu, '-')
      .replace(/^-|-$/g, '');
    const text = markdown.slice(from, to).trim();
    if (text === '') throw fault(file, line, `what "${term}" means`, 'nothing');
    if (id === '' || ids.has(id)) throw fault(file, line, 'every term once', `"${term}" again`);
    ids.add(id);
    return { id, term, forms, text };
  });
}

const fault = (file: string, line: number, expected: string, found: string): InputFault =>
  new InputFault({
    tag: 'malformed',
    file,
    place: `line ${line}`,
    expected,
    found,
    remedy: 'A glossary is a list of "## term (other form)" with text below each.',
  });

/** Our words and the campaign's, which win; in alphabetical order. */
export function mergeTerms(own: readonly Term[], campaign: readonly Term[]): Term[] {
  const all = new Map([...own, ...campaign].map((term) => [term.id, term]));
  return [...all.values()].sort((a, b) => a.term.localeCompare(b.term, 'en'));
}

/** @param file of the campaign's own words, if it has any */
export async function loadGlossary(file: string | undefined): Promise<Term[]> {
  const own = parseGlossary(OWN, 'glossary');
  return file
    ? mergeTerms(own, parseGlossary(await readFile(file, 'utf8'), 'glossary.md'))
    : mergeTerms(own, []);
}

let held: Promise<Term[]> | null = null;

/** Terms of the folio that is being built. */
export function glossary(): Promise<Term[]> {
  held ??= loadGlossary(process.env.STRATAFOLIO_GLOSSARY);
  return held;
}
