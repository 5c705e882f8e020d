/** Keys by content, and the sources that count for a step. */
import { describe, expect, it } from 'vitest';
import { contentKey } from '../../../pipeline/engine/content-key.ts';
import { sourceVersion } from '../../../pipeline/engine/source-version.ts';

describe('a key', () => {
  it('is the same for the same content, in whatever order its members were named', () => {
    expect(contentKey({ a: 1, b: [true, null], c: undefined })).toBe(contentKey({ b: [true, null], a: 1 }));
    expect(contentKey(new Map([['x', Float32Array.of(1)]]))).toBe(
      contentKey(new Map([['x', Float32Array.of(1)]])),
    );
  });

  it('differs where anything differs', () => {
    const values = [
      ...[0, -0, 1, '1', true, null, undefined, [], {}, [1], [1, 2], [[1], 2], ['ab', 'c'], ['a', 'bc'], 1n],
      ...[Float32Array.of(1), Float64Array.of(1), Uint8Array.of(1), Uint8Array.of(1, 0), { a: 1 }, { b: 1 }],
      ...[new Map([['a', 1]]), new Set(['a', 1]), ['a', 1], [null], [undefined], Number.NaN, { a: [1] }],
    ];
    expect(new Set(values.map(contentKey)).size).toBe(values.length);
  });

  it('refuses what has no content of its own', () => {
    expect(() => contentKey({ run: () => 1 })).toThrow(TypeError);
    expect(() => contentKey(new Date())).toThrow(TypeError);
  });
});

describe('the version of a step', () => {
  it('differs between steps, and takes in threads and lazily loaded readers', () => {
    const compare = sourceVersion(['pipeline/stages/compare/compare-scan.ts']);
    expect(compare).not.toBe(sourceVersion(['pipeline/stages/measure/measure-scan.ts']));
    expect(compare).toMatch(/^[0-9a-f]{64}$/);
    expect(() => sourceVersion(['pipeline/no-such-file.ts'])).toThrow();
  });
});
