/** Cases of the placement benchmark, drawn from a seed. */
import { join } from 'node:path';
import { type ConditionOptions, USUAL } from '../../demo-volume/image/conditions.ts';
import { generator } from '../fixtures/random.ts';

export interface Case {
  readonly seed: number;
  /**
   * place: findable; repeats: another place of the drawing shows the same within the field; bare: hardly anything is drawn
   * there; wrong: placed against another drawing; outside: looked for where it is not.
   */
  readonly kind: 'place' | 'repeats' | 'wrong' | 'outside' | 'bare';
  readonly layout: string;
  readonly layoutFile: string;
  readonly processFile: string;
  /** Drawing it is placed against. */
  readonly against: { readonly layoutFile: string; readonly processFile: string };
  readonly windowUm: readonly [number, number, number, number];
  readonly depthUm: readonly [number, number];
  readonly voxelNm: number;
  readonly rotationDeg: number;
  readonly tiltDeg: number;
  readonly tiltTowardsDeg: number;
  readonly scalePlane: number;
  readonly scaleDepth: number;
  readonly cnr: number;
  readonly order: 'top-first' | 'bottom-first';
  readonly mirrored: boolean;
  readonly circular: boolean;
  readonly conditions: ConditionOptions;
  /** Where the middle of the scan may lie; null: anywhere. */
  readonly centresUm: readonly [number, number, number, number] | null;
}

interface Source {
  readonly name: string;
  readonly process: string;
  readonly box: readonly [number, number, number, number];
  /** Smallest feature, nm: voxels are a quarter to an eighth of it. */
  readonly featureNm: number;
}

const SOURCES: readonly Source[] = [
  { name: 'sg13g2_counter_board', process: 'sg13g2', box: [4, 4, 96, 96], featureNm: 200 },
  { name: 'gf180_w_io', process: 'gf180mcu', box: [4, 4, 138, 283], featureNm: 260 },
  { name: 'sg13g2_sram_256x8', process: 'sg13g2', box: [2, 2, 234, 72], featureNm: 200 },
];
const FIXTURES = join(import.meta.dirname, '../fixtures/process');

export function drawCase(seed: number, data: string): Case {
  const next = generator(seed * 7919);
  const between = (low: number, high: number): number => low + (high - low) * next();
  const pick = <T>(list: readonly T[]): T =>
    list[Math.min(list.length - 1, Math.floor(next() * list.length))]!;
  const source = pick(SOURCES);
  const roll = next();
  const kind = roll < 0.65 ? 'place' : roll < 0.85 ? 'wrong' : 'outside';
  const voxelNm = Math.round(source.featureNm / between(4, 5.5));
  const [wide, high] = [between(11, 15), between(10, 13)];
  const x0 = between(source.box[0], source.box[2] - wide);
  const y0 = between(source.box[1], source.box[3] - high);
  const files = (s: Source) => ({
    layoutFile: join(data, `${s.name}.gds`),
    processFile: join(FIXTURES, `${s.process}.yaml`),
  });
  const other = pick(SOURCES.filter((s) => s !== source));
  const bottom = between(0, 0.8);
  const depthUm = [bottom, bottom + between(3, 5.5)] as const;
  return {
    ...{ seed, kind, layout: source.name, ...files(source), voxelNm, depthUm },
    against: files(kind === 'wrong' ? other : source),
    windowUm: [x0, y0, x0 + wide, y0 + high],
    rotationDeg: between(-180, 180),
    tiltDeg: between(0, 1.5),
    tiltTowardsDeg: between(0, 360),
    scalePlane: between(0.975, 1.025),
    scaleDepth: between(0.95, 1.05),
    cnr: Math.exp(between(Math.log(1.5), Math.log(10))),
    order: pick(['top-first', 'bottom-first']),
    mirrored: next() < 0.5,
    circular: next() < 0.4,
    conditions: {
      ...USUAL,
      bright: next() < 0.25 ? 'light' : 'dense',
      brokenShare: next() < 0.3 ? 0.05 : 0,
      jitterVoxels: next() < 0.5 ? 0.4 : 0,
      warpVoxels: next() < 0.4 ? between(0.5, 4) : 0,
      thicknessSd: 0.05,
    },
    centresUm: centresOf(kind, source, [x0 + wide / 2, y0 + high / 2], between, next),
  };
}

function centresOf(
  kind: Case['kind'],
  { box }: Source,
  [x, y]: readonly [number, number],
  between: (low: number, high: number) => number,
  next: () => number,
): Case['centresUm'] {
  if (kind === 'wrong') return null;
  const half = 22;
  if (kind === 'place') {
    if (next() < 0.12) return null;
    const [dx, dy] = [between(-15, 15), between(-15, 15)];
    return [x + dx - half, y + dy - half, x + dx + half, y + dy + half];
  }
  // Away from the truth by more than half a field, still over the drawing.
  const way = x < (box[0] + box[2]) / 2 ? 1 : -1;
  const from = x + way * 7;
  return [Math.min(from, from + way * 40), y - half, Math.max(from, from + way * 40), y + half];
}
