/** Fills in the places of the lessons: they are Markdown with {{names}}, since every seed draws another chip. */
import type { MadeChip } from './fabricate.ts';
import { type Field, inField } from './field.ts';
import { TRACK } from './layout/drawn-layers.ts';
import type { Box } from './layout/flatten.ts';
import type { Instance } from './layout/floorplan.ts';

export interface LessonChip {
  readonly instances: readonly Instance[];
  readonly made: MadeChip;
  readonly field: Field;
  /** Where the scan was aimed. */
  readonly middleUm: readonly [number, number];
}

/** A place of a lesson keeps this far from the rim of the field. */
const RIM_UM = 1;
const CELL_RIM_UM = 0.3;
/** Where a view may stand beside what is to be found in it. */
const ASIDE_UM = [
  [1.7, 0.9],
  [-1.7, 0.9],
  [1.7, -0.9],
  [-1.7, -0.9],
  [0, 0],
] as const;
const um = (value: number): string => String(Math.round(value * 1000) / 1000);
const listed = (...values: readonly number[]): string => values.map(um).join(',');
const middleOf = (box: Box): [number, number] => [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];

/** A small field may hold no inverter, or no fill: what needs one is then left out. */
export class LessonPlaces {
  readonly #values = new Map<string, string>();
  readonly #cells: Readonly<Record<string, Instance | null>>;
  readonly #chip: LessonChip;

  constructor(chip: LessonChip) {
    this.#chip = chip;
    const mirrored = this.#inverter(true);
    this.#cells = { inverter: this.#inverter(false) ?? mirrored, mirrored };
    this.#values.set('middle', listed(...chip.middleUm));
    this.#climb();
    this.#fill();
    this.#blob();
  }

  /** The lesson with its places; null where this chip has not what it is about. */
  fillIn(markdown: string): string | null {
    const kept = markdown.replace(/\{\{#(\w+)\}\}([\s\S]*?)\{\{\/\1\}\}/g, (_, name, block) =>
      this.#values.has(name) || this.#cells[name] ? block : '',
    );
    let whole = true;
    const filled = kept.replace(/\{\{([\w.]+)(?:\s+([-\d.,]+))?\}\}/g, (_, name: string, at?: string) => {
      const value = at === undefined ? this.#values.get(name) : this.#inCell(name, at);
      whole &&= value !== undefined;
      return value ?? '';
    });
    return whole ? filled : null;
  }

  /** How far a point is from where the scan was aimed; infinite outside the field, at the lowest and highest layer. */
  #away(x: number, y: number, rimUm = RIM_UM): number {
    const { field, made, middleUm } = this.#chip;
    const heights = [made.layers[0]!.topUm, made.layers.at(-1)!.bottomUm];
    if (!heights.every((z) => inField(field, x, y, z, rimUm))) return Infinity;
    return Math.hypot(x - middleUm[0], y - middleUm[1]);
  }

  #nearest<T>(
    all: readonly T[],
    at: (one: T) => readonly (readonly [number, number])[],
    rimUm = RIM_UM,
  ): T | null {
    let best: T | null = null;
    let least = Infinity;
    for (const one of all) {
      const away = Math.max(...at(one).map(([x, y]) => this.#away(x, y, rimUm)));
      if (away < least) [best, least] = [one, away];
    }
    return best;
  }

  #inverter(mirrored: boolean): Instance | null {
    const all = this.#chip.instances.filter((one) => one.cell === 'HER_INV' && one.mirrored === mirrored);
    const found = this.#nearest(
      all,
      (one) =>
        [
          [0, 0],
          [4, 8],
        ].map(([c, t]) => this.#onDie(one, c!, t!)),
      CELL_RIM_UM,
    );
    return found;
  }

  /** Die micrometres of a column and a track of a cell. */
  #onDie({ x, y, mirrored }: Instance, column: number, track: number): readonly [number, number] {
    return [((x + column) * TRACK) / 1000, ((y + (mirrored ? -track : track)) * TRACK) / 1000];
  }

  /** A point "column,track" or a box of two such points, in the cell of that name. */
  #inCell(name: string, at: string): string | undefined {
    const cell = this.#cells[name];
    const [c0, t0, c1, t1] = at.split(',').map(Number);
    if (!cell || c0 === undefined || t0 === undefined) return undefined;
    const a = this.#onDie(cell, c0, t0);
    if (c1 === undefined || t1 === undefined) return listed(...a);
    const b = this.#onDie(cell, c1, t1);
    return listed(a[0], Math.min(a[1], b[1]), b[0], Math.max(a[1], b[1]));
  }

  /** A via 2 of a named net that no fault meets, and that has no other in the field. */
  #climb(): void {
    const { made } = this.#chip;
    const { shapes, conductor, names } = made.drawn;
    const spoilt = new Set(made.faults.flatMap((fault) => fault.nets));
    const vias = new Map<string, Box[]>();
    for (const [n, shape] of shapes.entries()) {
      const [name] = names.get(conductor[n]!) ?? [];
      if (shape.layer !== 'via2' || name === undefined || /^V(SS|DD)$/.test(name) || spoilt.has(name))
        continue;
      vias.set(name, [...(vias.get(name) ?? []), [...shape.box]]);
    }
    const own = [...vias].flatMap(([net, all]) => {
      const seen = all.filter((box) => this.#away(...middleOf(box)) < Infinity);
      return seen.length === 1 ? [{ net, box: seen[0]! }] : [];
    });
    const found = this.#nearest(own, ({ box }) => [middleOf(box)]);
    if (!found) return;
    // The view of the lesson stands aside, so that the via is not simply in its middle.
    const [x, y] = middleOf(found.box);
    const at = ASIDE_UM.map(([dx, dy]) => [x + dx, y + dy] as const).find((p) => this.#away(...p) < Infinity);
    this.#values.set('climb.aside', listed(...at!));
    this.#values.set('climb.net', found.net);
  }

  /** The fill square with most others about it, of the layer that has most in the field. */
  #fill(): void {
    const { fill, drawn } = this.#chip.made;
    const layers = this.#chip.made.layers.map((layer) => layer.name);
    let best: { layer: string; square: Box; size: number; pitch: number; score: number } | null = null;
    for (const { layer, squares, sizeUm, pitchUm } of fill) {
      const below = layers[layers.indexOf(layer) - 1];
      for (const square of squares) {
        const [x, y] = middleOf(square);
        if (this.#away(x, y) === Infinity) continue;
        const near = squares.filter((other) => {
          const [ox, oy] = middleOf(other);
          return Math.abs(ox - x) < 2.5 && Math.abs(oy - y) < 2.5;
        });
        // A lesson on telling the two apart needs wires in the same view.
        const wires = drawn.near(layer, [x - 4, y - 3, x + 4, y + 3]).length;
        const score = Math.min(near.length, 9) + Math.min(wires, 4) - this.#away(x, y) / 100;
        if (below && (!best || score > best.score))
          best = { layer, square, size: sizeUm, pitch: pitchUm, score };
      }
    }
    if (!best) return;
    this.#values.set('fill', listed(...middleOf(best.square)));
    this.#values.set('fill.layer', best.layer);
    this.#values.set('fill.under', layers[layers.indexOf(best.layer) - 1]!);
    this.#values.set('fill.square', listed(...best.square));
    this.#values.set('fill.size', um(best.size));
    this.#values.set('fill.pitch', um(best.pitch));
  }

  /** Metal that nobody drew; its view is a little off its middle, so that it has to be looked for. */
  #blob(): void {
    const fault = this.#chip.made.faults.find(({ kind }) => kind === 'extra-shape');
    if (!fault) return;
    const [x, y] = middleOf(fault.box);
    const at = ASIDE_UM.map(([dx, dy]) => [x + dx, y + dy] as const).find((p) => this.#away(...p) < Infinity);
    if (!at) return;
    this.#values.set('blob', listed(...at));
    this.#values.set('blob.box', listed(...fault.box));
    this.#values.set('blob.layer', fault.layer);
  }
}
