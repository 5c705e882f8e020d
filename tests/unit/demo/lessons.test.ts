/** The lessons of the demo: every seed's chip has places for them, and what they say of a place is so. */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { fabricate } from '../../../demo-volume/fabricate.ts';
import { FAULT_PLAN } from '../../../demo-volume/faults.ts';
import { fieldCorners } from '../../../demo-volume/field.ts';
import { demoPose } from '../../../demo-volume/generate.ts';
import { voxelToDie } from '../../../demo-volume/image/scan-frame.ts';
import { drawChip } from '../../../demo-volume/layout/chip.ts';
import { flatten } from '../../../demo-volume/layout/flatten.ts';
import { LessonPlaces } from '../../../demo-volume/lesson-places.ts';
import { readStack } from '../../../demo-volume/process-stack.ts';
import { splitLesson } from '../../../shared/artefacts/lesson.ts';
import { checkLesson } from '../../../shared/lesson/check.ts';
import { readSteps } from '../../../shared/lesson/steps.ts';

const DEMO = new URL('../../../demo-volume/', import.meta.url).pathname;
const stack = readStack(join(DEMO, 'process.yaml'));
const FOLDER = join(DEMO, 'lessons');

describe.each([
  [7, false],
  [7, true],
  [3, false],
  [11, false],
])('lessons of seed %i, small field %s', (seed, fast) => {
  const chip = drawChip(seed);
  const pose = demoPose(seed, fast);
  const field = { map: voxelToDie(pose), shape: pose.shape, voxelUm: pose.voxelUm, bend: null };
  const made = fabricate(flatten(chip.library, chip.top, 'the drawing'), stack.layers, field, {
    ...{ seed, fill: true, faults: FAULT_PLAN, region: [0.5, 0.5, 33, 27], thicknessSd: null },
  });
  const [x, y] = pose.centreUm;
  const places = new LessonPlaces({ instances: chip.instances, made, field, middleUm: [x, y] });
  const texts = readdirSync(FOLDER).flatMap((name) => {
    const text = places.fillIn(readFileSync(join(FOLDER, name), 'utf8'));
    return text === null ? [] : [{ name, text }];
  });

  it('are filled in, read, and point at what is there', () => {
    // A quarter of the field may lack what one of them is about.
    expect(texts.length).toBeGreaterThanOrEqual(fast ? 2 : 3);
    for (const { name, text } of texts) {
      expect(text).not.toMatch(/\{\{|\}\}/);
      const { body, linesBefore } = splitLesson(text, name);
      const place = { file: name, linesBefore };
      const steps = readSteps(body, place);
      expect(steps.steps.length).toBeGreaterThanOrEqual(3);
      checkLesson(
        steps,
        [
          {
            id: 'fine',
            boxUm: [0, 0, 40, 30],
            fieldUm: fieldCorners(field, (pose.shape[2] - 1) / 2).flat(),
            zUm: [-0.1, 6.4],
            layers: made.layers.map(({ name, bottomUm, topUm }) => ({ name, bottomUm, topUm })),
            nets: new Set([...made.drawn.names.values()].flat()),
            findings: null,
          },
        ],
        'fine',
        place,
      );
    }
  });

  it('ask for a via that is drawn on the net they light', () => {
    const { body } = splitLesson(texts[0]!.text, 'x');
    const asked = readSteps(body, { file: 'x', linesBefore: 0 })
      .steps.flatMap((step) => step.questions)
      .find(({ answer }) => answer.kind === 'place' && answer.net !== null)!;
    const { net } = asked.answer as { net: string };
    const { shapes, conductor, names } = made.drawn;
    const own = shapes.filter((shape, n) => shape.layer === 'via2' && names.get(conductor[n]!)?.[0] === net);
    expect(own.length).toBeGreaterThanOrEqual(1);
  });
});
