/** Input that is unfit: one clear error, and nothing half-written is left where a folio should be. */
import { spawnSync } from 'node:child_process';
import {
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { campaignWork, reviews, stratafolio } from '../../fixtures/campaign/command-line.ts';
import { sliceFile, writeSlice } from '../../fixtures/campaign/make-campaign.ts';

let campaign: Awaited<ReturnType<typeof campaignWork>>;

beforeAll(async () => {
  campaign = await campaignWork('bad-input');
});
afterAll(() => campaign.remove());

describe('bad input', () => {
  const edit = (folder: string, name: string, from: string | RegExp, to: string) => {
    const path = join(folder, name);
    writeFileSync(path, readFileSync(path, 'utf8').replace(from, to));
  };
  const cases: [string, (folder: string) => void | Promise<void>, string[]][] = [
    [
      'a truncated TIFF',
      (f) => truncateSync(join(f, sliceFile(17)), 3000),
      ['bars_017.tif', 'expected', 'found'],
    ],
    [
      'a truncated GDSII',
      (f) => truncateSync(join(f, 'bars.gds'), 200),
      ['bars.gds', 'byte', 'expected', 'found'],
    ],
    ['slices of different size', (f) => writeSlice(f, 9, 60), ['bars_009.tif', '64', '60']],
    ['a missing slice number', (f) => rmSync(join(f, sliceFile(12))), ['12', 'expected', 'found']],
    [
      'an unknown key',
      (f) => edit(f, 'campaign.yaml', 'voxel_nm', 'voxel_size'),
      ['campaign.yaml, line 8', 'voxel_nm', '"voxel_size"'],
    ],
    [
      'overlapping layers',
      (f) => edit(f, 'process.yaml', 'bottom_um: 1.85', 'bottom_um: 1.05'),
      ['process.yaml, line', '"metal2"', 'overlap'],
    ],
    [
      'a drawn layer the layout lacks',
      (f) => edit(f, 'process.yaml', '21/0', '24/0'),
      ['process.yaml, layer "metal1"', '"21/0"', '"24/0"'],
    ],
    [
      'an empty glob',
      (f) => edit(f, 'campaign.yaml', '*.tif', '*.tiff'),
      ['campaign.yaml', 'slices/*.tiff', 'expected'],
    ],
    [
      'a missing layout',
      (f) => rmSync(join(f, 'bars.gds')),
      ['campaign.yaml, chip.layout.file', '"bars.gds"'],
    ],
    [
      'a missing process table',
      (f) => rmSync(join(f, 'process.yaml')),
      ['campaign.yaml, chip.process', '"process.yaml"'],
    ],
    [
      'landmarks that are no numbers',
      (f) => edit(f, 'landmarks.csv', '60,0,3', '60,zero,3'),
      ['landmarks.csv', 'line 3', 'zero'],
    ],
    ['no voxel size', (f) => edit(f, 'campaign.yaml', /.*voxel_nm.*\n/, ''), ['campaign.yaml', 'voxel_nm']],
    [
      'a lesson without front matter',
      (f) => {
        mkdirSync(join(f, 'lessons'));
        writeFileSync(join(f, 'lessons', 'one.md'), 'Once upon a time');
        edit(f, 'campaign.yaml', 'licence', 'lessons: lessons/*.md\nlicence');
      },
      ['lessons/one.md, line 1', 'front matter', 'Once upon a time'],
    ],
    [
      'a picture without a pixel size',
      (f) => edit(f, 'campaign.yaml', 'scans:', 'scans:\n  - { id: top, image: { file: top.png } }'),
      ['campaign.yaml', 'scan "top"', 'pixel_nm'],
    ],
    [
      'a path that leaves the campaign',
      (f) => edit(f, 'campaign.yaml', 'bars.gds', '../bars.gds'),
      ['campaign.yaml', 'chip.layout.file', '../bars.gds', '--follow-links-out'],
    ],
    [
      'a link that leaves the campaign',
      (f) => {
        rmSync(join(f, 'process.yaml'));
        symlinkSync('/etc/hostname', join(f, 'process.yaml'));
      },
      ['campaign.yaml', 'chip.process', '--follow-links-out'],
    ],
    [
      'a judgement of a scan that is none',
      (f) => writeFileSync(join(f, 'reviews.csv'), reviews('coarse')),
      ['reviews.csv, line 2, scan', 'one of fine', '"coarse"'],
    ],
    ['no campaign', (f) => rmSync(join(f, 'campaign.yaml')), ['campaign.yaml', 'stratafolio new']],
  ];

  it.each(cases)('%s gives one clear error and leaves nothing behind', async (_, damage, words) => {
    const folder = campaign.copyOfModel();
    await damage(folder);
    const { status, stderr } = stratafolio('build', folder, '--data-only');
    expect(stderr.match(/^stratafolio: /gm)).toHaveLength(1);
    for (const word of words) expect(stderr).toContain(word);
    expect(stderr).toContain('What to do:');
    expect(status).toBe(1);
    expect(readdirSync(folder).filter((name) => name.startsWith('folio'))).toEqual([]);
  });

  const root = process.getuid?.() === 0 && process.platform === 'linux';
  let mounts = 0;
  const mounted = (options: string, use: (folder: string) => void): boolean => {
    const mount = join(campaign.work, `mount${mounts++}`);
    mkdirSync(mount);
    if (spawnSync('mount', ['-t', 'tmpfs', '-o', options, 'tmpfs', mount]).status !== 0) return false;
    try {
      use(mount);
    } finally {
      spawnSync('umount', [mount]);
    }
    return true;
  };

  it.skipIf(!root)('a full disk (needs root on Linux, for a small tmpfs)', (context) => {
    const ran = mounted('size=96k', (mount) => {
      const { status, stderr } = stratafolio(
        'build',
        campaign.model,
        '--data-only',
        '--out',
        join(mount, 'folio'),
      );
      expect(stderr).toContain('a full disk');
      expect(status).toBe(1);
      expect(readdirSync(mount)).toEqual([]);
    });
    if (!ran) context.skip('tmpfs cannot be mounted here');
  });

  it.skipIf(!root)('no permission to write (needs root on Linux, for a read-only tmpfs)', (context) => {
    const ran = mounted('size=1m,ro', (mount) => {
      const { status, stderr } = stratafolio(
        'build',
        campaign.model,
        '--data-only',
        '--out',
        join(mount, 'folio'),
      );
      expect(stderr).toContain('read-only');
      expect(status).toBe(1);
    });
    if (!ran) context.skip('tmpfs cannot be mounted here');
  });

  it('keeps an older folio when a later build fails', () => {
    const folder = campaign.copyOfModel();
    expect(stratafolio('build', folder, '--data-only').status).toBe(0);
    const before = readFileSync(join(folder, 'folio', 'data', 'manifest.json'), 'utf8');
    truncateSync(join(folder, sliceFile(3)), 3000);
    expect(stratafolio('build', folder, '--data-only').status).toBe(1);
    expect(readFileSync(join(folder, 'folio', 'data', 'manifest.json'), 'utf8')).toBe(before);
    expect(stratafolio('verify', join(folder, 'folio')).status).toBe(0);
  });
});
