import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { encodeTiff } from '../../../demo-volume/image/tiff-writer.ts';

const PYTHON = '/usr/bin/python3';
const READ = `
import json, sys, tifffile
with tifffile.TiffFile(sys.argv[1]) as f:
    page, tags = f.pages[0], f.pages[0].tags
    print(json.dumps({'pages': len(f.pages), 'dtype': str(page.dtype), 'values': page.asarray().tolist(),
        'x': tags['XResolution'].value, 'y': tags['YResolution'].value, 'unit': int(tags['ResolutionUnit'].value)}))
`;

function hasTifffile(): boolean {
  if (!existsSync(PYTHON)) return false;
  try {
    execFileSync(PYTHON, ['-c', 'import tifffile'], { stdio: 'ignore' });
    return true;
  } catch {
    return false;
  }
}

describe('slice files', () => {
  const pixels = Uint16Array.from([0, 1, 255, 256, 65535, 26000]);

  it.skipIf(!hasTifffile())("are read by another library (needs Debian's python3-tifffile)", () => {
    const folder = mkdtempSync(join(tmpdir(), 'tgl7-'));
    try {
      const file = join(folder, 'slice.tif');
      writeFileSync(file, encodeTiff(pixels, 3, 2, 40));
      const seen = JSON.parse(execFileSync(PYTHON, ['-c', READ, file], { encoding: 'utf8' }));
      expect(seen.pages).toBe(1);
      expect(seen.dtype).toBe('uint16');
      expect(seen.values).toEqual([
        [0, 1, 255],
        [256, 65535, 26000],
      ]);
      // 40 nm are 250 000 pixels per centimetre (unit 3).
      expect(seen.x[0] / seen.x[1]).toBe(250000);
      expect(seen.y[0] / seen.y[1]).toBe(250000);
      expect(seen.unit).toBe(3);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });

  it('must be filled', () => {
    expect(() => encodeTiff(pixels, 3, 3, 40)).toThrow(/fill/);
  });
});
