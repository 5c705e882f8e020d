/**
 * How well the depth of a placement can be known at all: the cases of the placement benchmark with every face of a layer
 * measured without error. What is left is what films that differ one by one and a voxel that is not quite as stated leave open.
 * node tests/bench/placement-depth.bench.ts [--runs 1000] [--from 1] [--each]
 */
import { readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { parse } from 'yaml';
import { madeHeights } from '../../demo-volume/fabricate.ts';
import { randomStream } from '../../demo-volume/random.ts';
import { throughFilms } from '../../pipeline/stages/place/automatic/settle/depth-fit.ts';
import { ladderOf } from '../../pipeline/stages/place/heights/levels.ts';
import { processSchema } from '../../shared/artefacts/process.ts';
import { drawCase } from './placement-cases.ts';

const { values } = parseArgs({
  options: {
    runs: { type: 'string', default: '1000' },
    from: { type: 'string', default: '1' },
    each: { type: 'boolean', default: false },
  },
});
/** Standard deviation of a face as it is measured, micrometres. */
const FACE_UM = 0.008;
const data = resolve(import.meta.dirname, '../../../shared/data');
const errors: number[] = [];
const sigmas: number[] = [];
const scaleErrors: number[] = [];
const scaleSigmas: number[] = [];
for (let seed = Number(values.from); seed < Number(values.from) + Number(values.runs); seed++) {
  const drawn = drawCase(seed, data);
  const { layers } = processSchema.parse(parse(readFileSync(drawn.processFile, 'utf8')));
  const { nominalUm } = ladderOf(layers);
  const stack = layers.map(({ bottom_um, thickness_um }) => ({
    bottomUm: bottom_um,
    thicknessUm: thickness_um,
  }));
  const made = madeHeights(stack, randomStream(seed, 'thickness'), drawn.conditions.thicknessSd);
  const [low, high] = drawn.depthUm;
  const faces = nominalUm.filter((z) => z > low && z < high);
  if (faces.length < 3) continue;
  const about = (low + high) / 2;
  const seen = (zUm: number): number => about + (zUm - about) / drawn.scaleDepth;
  const { place, alongZ, sdUm, covariance } = throughFilms(
    faces,
    faces.map((z) => seen(made(z)) - z),
    faces.map(() => FACE_UM ** 2),
    { levelsUm: [...new Set([0, ...nominalUm])].sort((a, b) => a - b), aboutUm: about, stretch: 1 },
  );
  const voxelUm = drawn.voxelNm / 1000;
  errors.push(-place / voxelUm);
  sigmas.push(sdUm / voxelUm);
  scaleErrors.push(100 * ((1 - alongZ) / drawn.scaleDepth - 1));
  scaleSigmas.push((100 * Math.sqrt(covariance[2])) / (1 - alongZ));
  if (values.each) console.log(seed, errors.at(-1)!.toFixed(2), sigmas.at(-1)!.toFixed(2));
}
const median = (list: number[]): string => [...list].sort((a, b) => a - b)[list.length >> 1]!.toFixed(2);
const insideOne = (list: readonly number[], of: readonly number[]): string => {
  const inside = list.filter((error, n) => Math.abs(error) < of[n]!).length;
  return `inside one stated sigma ${inside} (${((100 * inside) / list.length).toFixed(0)} %)`;
};
console.log(
  `${errors.length} cases: error of the depth in the middle ${median(errors.map(Math.abs))} voxels in the median, stated ` +
    `${median(sigmas)}; ${insideOne(errors, sigmas)}`,
);
console.log(
  `vertical scale, which all thicknesses share: off by ${median(scaleErrors.map(Math.abs))} % in the median, stated ` +
    `${median(scaleSigmas)} %; ${insideOne(scaleErrors, scaleSigmas)}`,
);
