/** Slices in files of their own: order by number, and what is wrong with a series. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { orderSeries } from '../../../pipeline/formats/volume/series.ts';
import { InputFault } from '../../../shared/errors.ts';

const origin = { pattern: 'slices/*.tif', file: 'campaign.yaml', place: 'scan "fine", volume.files' };

function faultOf(paths: readonly string[]): InputFault {
  try {
    orderSeries(paths, origin);
  } catch (error) {
    if (error instanceof InputFault) return error;
    throw error;
  }
  throw new Error('no fault');
}

describe('the order of slices', () => {
  it.each([
    ['numbers without leading zeros', ['/d/s_10.tif', '/d/s_9.tif', '/d/s_8.tif'], [2, 1, 0]],
    ['a date before the number', ['/d/2026_s3.tif', '/d/2026_s2.tif', '/d/2026_s1.tif'], [2, 1, 0]],
    ['digits behind the number', ['/d/s2_bin4.tif', '/d/s1_bin4.tif', '/d/s0_bin4.tif'], [2, 1, 0]],
    ['numbers in the folder', ['/d/2/a.tif', '/d/1/a.tif'], [1, 0]],
    ['equal steps', ['/d/s100.tif', '/d/s50.tif', '/d/s0.tif'], [2, 1, 0]],
    ['numbers beyond exact floating point', ['/d/90071992547409931.tif', '/d/90071992547409930.tif'], [1, 0]],
    ['a single file', ['/d/stack.tif'], [0]],
    ['extensions in two cases', ['/d/s2.TIF', '/d/s1.tif'], [1, 0]],
  ])('%s', (_, paths, order) => {
    expect(orderSeries(paths, origin)).toEqual(order.map((n) => paths[n]));
  });

  it('is that of the numbers, whatever the order of the glob; and a slice taken out is missed', () => {
    const series = fc.record({
      first: fc.nat(2000),
      step: fc.integer({ min: 1, max: 7 }),
      count: fc.integer({ min: 4, max: 40 }),
      digits: fc.integer({ min: 0, max: 6 }),
      gone: fc.nat(),
      shuffle: fc.infiniteStream(fc.nat()),
    });
    fc.assert(
      fc.property(series, ({ first, step, count, digits, gone, shuffle }) => {
        const numbers = Array.from({ length: count }, (_, n) => first + n * step);
        const paths = numbers.map((n) => `/scan 7/rec_${String(n).padStart(digits, '0')}.tif`);
        const keyed = paths.map((path) => ({ path, key: shuffle.next().value as number }));
        const mixed = keyed.sort((a, b) => a.key - b.key).map(({ path }) => path);
        expect(orderSeries(mixed, origin)).toEqual(paths);
        const hole = 1 + (gone % (count - 2));
        const rest = mixed.filter((path) => path !== paths[hole]);
        const fault = faultOf(rest);
        expect(fault.message).toContain(`no file for number ${numbers[hole]}, the first between`);
        expect(fault.message).toContain(paths[hole - 1].slice('/scan 7/'.length));
        expect(fault.message).toContain(paths[hole + 1].slice('/scan 7/'.length));
      }),
      { seed: 20260404, numRuns: 150 },
    );
  });
});

describe('what is wrong with a series', () => {
  it('nothing found: names the glob and where it stands', () => {
    const fault = faultOf([]);
    expect(fault.tag).toBe('missing-file');
    expect(fault.message).toMatch(
      /^campaign\.yaml, scan "fine", volume\.files: .*"slices\/\*\.tif", found none/,
    );
  });

  it.each([
    [
      'one number missing',
      ['/d/s001.tif', '/d/s003.tif', '/d/s004.tif'],
      /number 2, .*between s001\.tif and s003\.tif/,
    ],
    ['two files with a gap', ['/d/s001.tif', '/d/s003.tif'], /number 2, /],
    ['many missing', ['/d/s1.tif', '/d/s2.tif', '/d/s40.tif'], /number 3, 4, .*, 12, \.\.\. \(37 in all\), /],
    ['two gaps', ['/d/s1.tif', '/d/s2.tif', '/d/s4.tif', '/d/s6.tif'], /number 3, 5, .*s2\.tif and s4\.tif/],
    ['a number twice', ['/d/s1.tif', '/d/s01.tif', '/d/s2.tif'], /number 1 twice: s1\.tif and s01\.tif/],
    ['the same number only', ['/d/s1.tif', '/d/s01.tif'], /number 1 twice/],
    ['two extensions', ['/d/s1.tif', '/d/s2.tiff'], /files of one kind, found s1\.tif and s2\.tiff/],
    ['two names', ['/d/s1.tif', '/d/mean1.tif'], /numbers only, found s1\.tif and mean1\.tif/],
    ['no numbers', ['/d/a.tif', '/d/b.tif'], /numbers only/],
  ])('%s', (_, paths, message) => {
    const fault = faultOf(paths);
    expect(fault.tag).toBe('inconsistent');
    expect(fault.message).toMatch(message);
    expect(fault.fields.remedy).toBeTruthy();
  });
});
