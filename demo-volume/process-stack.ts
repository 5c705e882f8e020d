/** Reads `process.yaml`: the stack of process layers, bottom to top, with the drawn layers of each. */
import { readFileSync } from 'node:fs';
import { type Document, parseDocument, stringify } from 'yaml';
import { DemoFault } from './input-fault.ts';
import type { Library } from './layout/library.ts';
import { electronDensity, materialNames } from './materials.ts';

export type Role = 'conductor' | 'via' | 'other';

export interface StackLayer {
  readonly name: string;
  readonly role: Role;
  readonly bottomUm: number;
  readonly thicknessUm: number;
  readonly material: string;
  /** Drawn layers as `layer/datatype`; `fill` ones are imaged like the others. */
  readonly drawn: readonly string[];
  readonly labels: readonly string[];
  readonly fill: readonly string[];
  /** Smallest drawn width (of a via layer: its size), where the rules state one. */
  readonly widthUm?: number;
  readonly spaceUm?: number;
}

export interface Stack {
  readonly name: string;
  readonly layers: readonly StackLayer[];
}

function text(value: unknown): string | undefined {
  return typeof value === 'string' && value.length > 0 ? value : undefined;
}

function list(value: unknown): string[] {
  return Array.isArray(value) ? value.filter((v): v is string => typeof v === 'string') : [];
}

function record(value: unknown): Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value)
    ? (value as Record<string, unknown>)
    : {};
}

function readLayer(raw: unknown, index: number, rules: Record<string, unknown>, file: string): StackLayer {
  const item = record(raw);
  const name = text(item.name);
  const place = `layer ${index + 1}${name ? ` (${name})` : ''}`;
  const fault = (expected: string, found: unknown): DemoFault =>
    new DemoFault({ file, place, expected, found: JSON.stringify(found) ?? 'nothing' });
  if (name === undefined) throw fault('a name', item.name);
  const { role, bottom_um: bottom, thickness_um: thickness, material } = item;
  if (role !== 'conductor' && role !== 'via' && role !== 'other')
    throw fault('role conductor, via or other', role);
  if (typeof bottom !== 'number' || !Number.isFinite(bottom)) throw fault('bottom_um as a number', bottom);
  if (typeof thickness !== 'number' || !(thickness > 0)) throw fault('thickness_um above zero', thickness);
  if (typeof material !== 'string' || electronDensity(material) === undefined)
    throw fault(`a material of ${materialNames().join(', ')}`, material);
  const drawn = list(item.drawn);
  const fill = list(item.fill);
  for (const pair of [...drawn, ...fill])
    if (!/^\d+\/\d+$/.test(pair)) throw fault('drawn layers as "layer/datatype"', pair);
  const rule = record(rules[name]);
  const width = rule.width_um ?? rule.size_um;
  return {
    name,
    role,
    bottomUm: bottom,
    thicknessUm: thickness,
    material,
    drawn,
    labels: list(item.labels),
    fill,
    ...(typeof width === 'number' && width > 0 ? { widthUm: width } : {}),
    ...(typeof rule.space_um === 'number' && rule.space_um > 0 ? { spaceUm: rule.space_um } : {}),
  };
}

function readText(file: string): string {
  try {
    return readFileSync(file, 'utf8');
  } catch {
    throw new DemoFault({ file, expected: 'a process table', found: 'no readable file' });
  }
}

function parseTable(file: string, source: string): Document {
  const document = parseDocument(source);
  const [problem] = document.errors;
  if (problem) throw new DemoFault({ file, expected: 'YAML', found: problem.message.split('\n')[0] ?? '' });
  return document as Document;
}

/**
 * The stack of a process table.
 * @param source its text, where that is not simply the content of the file
 * @throws DemoFault when the file is missing, is no YAML, or a layer lacks something the imaging needs.
 */
export function readStack(file: string, source = readText(file)): Stack {
  const root = record(parseTable(file, source).toJS());
  if (!Array.isArray(root.layers) || root.layers.length === 0)
    throw new DemoFault({ file, place: 'layers', expected: 'at least one layer', found: 'none' });
  const layers = root.layers.map((raw, i) => readLayer(raw, i, record(root.rules), file));
  return { name: text(root.name) ?? 'unnamed process', layers };
}

/**
 * The process table without what a layout does not draw: a table serves many chips, and few of them use every metal
 * and every purpose of it.
 */
export function trimStack(file: string, library: Library): { text: string; dropped: string[] } {
  const drawn = new Set<string>();
  for (const cell of library.cells.values()) {
    for (const shape of cell.shapes) drawn.add(shape.layer);
    for (const label of cell.labels) drawn.add(label.layer);
  }
  const table = record(parseTable(file, readText(file)).toJS());
  if (!Array.isArray(table.layers)) return { text: readText(file), dropped: [] };
  const dropped: string[] = [];
  const layers = table.layers.flatMap((raw) => {
    const layer = { ...record(raw) };
    for (const key of ['drawn', 'labels', 'fill']) {
      if (layer[key] === undefined) continue;
      const kept = list(layer[key]).filter((pair) => drawn.has(pair));
      if (kept.length > 0) layer[key] = kept;
      else delete layer[key];
    }
    if (layer.drawn !== undefined) return [layer];
    dropped.push(String(layer.name));
    return [];
  });
  const rules = Object.fromEntries(
    Object.entries(record(table.rules)).filter(([name]) => !dropped.includes(name)),
  );
  return { text: stringify({ ...table, layers, ...(table.rules ? { rules } : {}) }), dropped };
}
