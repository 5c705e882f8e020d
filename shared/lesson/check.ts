/**
 * Whether what a lesson points at exists. Called twice with the same rules: before a build with what the campaign
 * says by itself, so that a slip costs no long build, and over the finished data, when fields and nets are known.
 */

import { nearest } from '../artefacts/known-keys.ts';
import { type Box, type FlatPolygon, windingNumber } from '../polygon.ts';
import { type LessonPlace, lessonFault } from './attributes.ts';
import type { LessonSteps, StepView } from './steps.ts';

/** What is known of a scan; null where it is not known yet. */
export interface LessonScan {
  readonly id: string;
  /** The plate grid, die micrometres. Null too where the scan has no place on the die. */
  readonly boxUm: Box | null;
  /** Outline of what was imaged, inside the grid. */
  readonly fieldUm: FlatPolygon | null;
  readonly zUm: readonly [number, number] | null;
  /** Layers with their heights where those are known. */
  readonly layers: readonly {
    readonly name: string;
    readonly bottomUm: number | null;
    readonly topUm: number | null;
  }[];
  readonly nets: ReadonlySet<string> | null;
  readonly findings: ReadonlySet<string> | null;
}

/**
 * @param defaultScan of steps that name none; null where the campaign has no volume
 * @throws InputFault with the line of the first thing that is not there
 */
export function checkLesson(
  lesson: LessonSteps,
  scans: readonly LessonScan[],
  defaultScan: string | null,
  place: LessonPlace,
): void {
  for (const step of lesson.steps) {
    const scan = scanOf(step.view, scans, defaultScan, place);
    if (!scan) continue;
    const at = new Checks(scan, place);
    at.point(step.view.atUm, step.view.line);
    at.layer(step.view.layer, step.view.line);
    at.height(step.view.zUm, step.view.line);
    at.net(step.view.net, step.view.line);
    at.finding(step.view.finding, step.view.line);
    for (const mark of step.marks) {
      at.point(mark.atUm, mark.line);
      at.box(mark.boxUm, mark.line);
    }
    for (const { answer, line } of step.questions) {
      if (answer.kind === 'depth') at.layer(answer.layer, line);
      if (answer.kind !== 'place') continue;
      at.point(answer.atUm, line);
      at.box(answer.boxUm, line);
      at.net(answer.net, line);
      if (answer.layer !== null) at.layerName(answer.layer, line);
    }
  }
}

export function scanOf(
  view: StepView,
  scans: readonly LessonScan[],
  defaultScan: string | null,
  place: LessonPlace,
): LessonScan | null {
  const wanted = view.scan ?? defaultScan;
  if (wanted === null) return null;
  const scan = scans.find((one) => one.id === wanted);
  if (scan) return scan;
  throw lessonFault(
    place,
    view.line,
    'a scan of this campaign',
    `"${wanted}"`,
    known(
      'scan',
      wanted,
      scans.map((s) => s.id),
    ),
  );
}

const known = (what: string, wanted: string, names: readonly string[]): string => {
  const near = nearest(wanted, names);
  if (near) return `Write "${near}", or correct the ${what}.`;
  return names.length === 0
    ? `Take the ${what} out: there is none.`
    : `The ${what}s are ${names.slice(0, 12).join(', ')}${names.length > 12 ? ' ...' : ''}.`;
};

const um = (value: number): string => String(Number(value.toFixed(3)));

class Checks {
  readonly #scan: LessonScan;
  readonly #place: LessonPlace;

  constructor(scan: LessonScan, place: LessonPlace) {
    this.#scan = scan;
    this.#place = place;
  }

  point(at: readonly [number, number] | null, line: number): void {
    const { boxUm, fieldUm, id } = this.#scan;
    if (!at || !boxUm) return;
    const [x, y] = at;
    const inBox = x >= boxUm[0] && x <= boxUm[2] && y >= boxUm[1] && y <= boxUm[3];
    if (inBox && (!fieldUm || windingNumber(fieldUm, x, y) !== 0)) return;
    throw lessonFault(
      this.#place,
      line,
      `a place inside scan "${id}": x from ${um(boxUm[0])} to ${um(boxUm[2])}, y from ${um(boxUm[1])} to ${um(boxUm[3])} µm`,
      `${um(x)}, ${um(y)}${inBox ? ', in a corner that was not imaged' : ''}`,
      'Correct the place; die micrometres, as the viewer shows them.',
    );
  }

  box(box: Box | null, line: number): void {
    if (!box) return;
    this.point([box[0], box[1]], line);
    this.point([box[2], box[3]], line);
  }

  height(z: number | null, line: number): void {
    const { zUm, id } = this.#scan;
    if (z === null || !zUm || (z >= zUm[0] && z <= zUm[1])) return;
    throw lessonFault(
      this.#place,
      line,
      `a height that scan "${id}" reaches: ${um(zUm[0])} to ${um(zUm[1])} µm`,
      `z = ${um(z)}`,
      'Correct z.',
    );
  }

  layerName(name: string, line: number): void {
    const names = this.#scan.layers.map((layer) => layer.name);
    if (names.includes(name)) return;
    throw lessonFault(this.#place, line, 'a layer of the stack', `"${name}"`, known('layer', name, names));
  }

  layer(name: string | null, line: number): void {
    if (name === null) return;
    this.layerName(name, line);
    const { layers, zUm, id } = this.#scan;
    const { bottomUm, topUm } = layers.find((layer) => layer.name === name)!;
    if (bottomUm === null || topUm === null || !zUm || (topUm >= zUm[0] && bottomUm <= zUm[1])) return;
    throw lessonFault(
      this.#place,
      line,
      `a layer within ${um(zUm[0])} to ${um(zUm[1])} µm, the depth of scan "${id}"`,
      `"${name}" at ${um(bottomUm)} to ${um(topUm)} µm`,
      'Choose a layer that the scan reaches.',
    );
  }

  net(name: string | null, line: number): void {
    const { nets, id } = this.#scan;
    if (name === null || !nets || nets.has(name)) return;
    throw lessonFault(
      this.#place,
      line,
      `a net of the drawing in the field of scan "${id}"`,
      `"${name}"`,
      known('net', name, [...nets]),
    );
  }

  finding(name: string | null, line: number): void {
    const { findings, id } = this.#scan;
    if (name === null || !findings || findings.has(name)) return;
    throw lessonFault(
      this.#place,
      line,
      `a finding of scan "${id}"`,
      `"${name}"`,
      'Findings are numbered anew by every build; name a place instead.',
    );
  }
}
