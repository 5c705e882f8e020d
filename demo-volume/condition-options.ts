/** The command line options that name the conditions of a scan. */
import { UsageFault } from './command.ts';
import { type ConditionOptions, USUAL } from './image/conditions.ts';

const text = { type: 'string' } as const;

/** For parseArgs. */
export const CONDITION_TEXTS = {
  ...{ bright: text, 'broken-share': text, 'jitter-voxels': text, 'warp-voxels': text },
  ...{ 'bow-um': text, 'thickness-sd': text, drift: text, outside: text },
} as const;

type Texts = { readonly [Name in keyof typeof CONDITION_TEXTS]?: string | undefined };

/** @throws UsageFault for a value that is not what the option takes */
export function conditionsFrom(values: Texts): ConditionOptions {
  const amount = <Usual>(name: keyof Texts, usual: Usual, most = Infinity): number | Usual => {
    const value = values[name];
    if (value === undefined) return usual;
    const number = value.trim() === '' ? Number.NaN : Number(value);
    if (!(number >= 0 && number <= most))
      throw new UsageFault(
        `--${name} must be a number from 0${most < Infinity ? ` to ${most}` : ' up'}, not ${value}`,
      );
    return number;
  };
  const word = <Word extends string>(name: keyof Texts, words: readonly Word[], usual: Word): Word => {
    const value = values[name] ?? usual;
    const found = words.find((w) => w === value);
    if (!found) throw new UsageFault(`--${name} must be ${words.join(' or ')}, not ${value}`);
    return found;
  };
  return {
    bright: word('bright', ['dense', 'light'], USUAL.bright),
    brokenShare: amount('broken-share', USUAL.brokenShare, 0.5),
    jitterVoxels: amount('jitter-voxels', USUAL.jitterVoxels),
    warpVoxels: amount('warp-voxels', USUAL.warpVoxels),
    bowUm: amount('bow-um', USUAL.bowUm),
    thicknessSd: amount('thickness-sd', USUAL.thicknessSd, 0.2),
    drift: amount('drift', USUAL.drift),
    outside: word('outside', ['zero', 'constant', 'nan'], USUAL.outside),
  };
}
