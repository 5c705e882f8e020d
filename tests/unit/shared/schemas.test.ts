/** The messages a person meets when campaign.yaml or process.yaml is wrong: key, line, nearest key, expected, found. */
import { describe, expect, it } from 'vitest';
import { campaignSchema } from '../../../shared/artefacts/campaign.ts';
import { joinedConductors, processSchema } from '../../../shared/artefacts/process.ts';
import { readJson, readYaml } from '../../../shared/artefacts/read.ts';
import { selftestSchema } from '../../../shared/artefacts/selftest.ts';
import { InputFault } from '../../../shared/errors.ts';

const CAMPAIGN = `stratafolio: 1
title: Tide gauge logger
chip: { name: TGL-7, process: process.yaml }
scans:
  - id: fine
    volume: { files: "slices/*.tif" }
    voxel_nm: [11, 11, 12]
`;

function faultOf(work: () => unknown): InputFault {
  try {
    work();
  } catch (error) {
    if (error instanceof InputFault) return error;
    throw error;
  }
  throw new Error('No fault was raised.');
}

const campaignFault = (text: string) => faultOf(() => readYaml(text, 'campaign.yaml', campaignSchema));

describe('campaign.yaml', () => {
  it('is read, with defaults filled in', () => {
    const campaign = readYaml(CAMPAIGN, 'campaign.yaml', campaignSchema);
    expect(campaign.scans[0]).toMatchObject({
      order: 'auto',
      seen_from: 'auto',
      bright: 'auto',
      voxel_nm: [11, 11, 12],
    });
    expect(campaign.creators).toEqual([]);
  });

  it.each([
    [
      'an unknown key',
      `${CAMPAIGN}    voxelnm: 3\n`,
      'line 8, scans[0].voxelnm',
      'the nearest is "voxel_nm"',
      'the unknown key "voxelnm"',
    ],
    [
      'an unknown key at the top',
      CAMPAIGN.replace('title', 'titel'),
      'line 2, titel',
      'the nearest is "title"',
      '"titel" (and 1 more',
    ],
    [
      'a key with no neighbour',
      `${CAMPAIGN}    zzzzzzzzzzzz: 3\n`,
      'line 8, scans[0].zzzzzzzzzzzz',
      'one of id, title',
      'unknown key',
    ],
    [
      'a negative size',
      CAMPAIGN.replace('[11, 11, 12]', '-4'),
      'line 7, scans[0].voxel_nm',
      'a number greater than 0',
      '-4',
    ],
    [
      'a word for a number',
      CAMPAIGN.replace('[11, 11, 12]', 'fine'),
      'line 7, scans[0].voxel_nm',
      'a number, or a list',
      '"fine"',
    ],
    [
      'a missing key',
      CAMPAIGN.replace('title: Tide gauge logger\n', ''),
      'line 1, title',
      'a string',
      'nothing',
    ],
    [
      'no source of voxels',
      CAMPAIGN.replace('{ files: "slices/*.tif" }', '{}'),
      'line 6, scans[0].volume',
      'exactly one of files, hdf5, zarr, raw',
      '{}',
    ],
    ['a later format', CAMPAIGN.replace('stratafolio: 1', 'stratafolio: 2'), 'line 1, stratafolio', '1', '2'],
    [
      'a word outside a list',
      `${CAMPAIGN}    order: top\n`,
      'line 8, scans[0].order',
      'one of "auto", "top-first", "bottom-first"',
      '"top"',
    ],
    [
      'an id twice',
      `${CAMPAIGN}  - { id: fine, volume: { files: x.tif } }\n`,
      'scans[1].id',
      'an id of its own',
      '"fine"',
    ],
    ['broken YAML', `${CAMPAIGN}  bad: [\n`, 'line 8', 'YAML', 'column'],
    ['no scan', CAMPAIGN.replace(/scans:[\s\S]*/, 'scans: []\n'), 'line 4, scans', 'at least 1 entry', '[]'],
  ])('%s', (_, text, place, expected, found) => {
    const fault = campaignFault(text);
    expect(fault.fields.file).toBe('campaign.yaml');
    expect(fault.fields.place).toContain(place);
    expect(fault.fields.expected).toContain(expected);
    expect(fault.fields.found).toContain(found);
    expect(fault.fields.remedy).toMatch(/^[A-Z].*\.$/);
    expect(fault.message).toContain('What to do:');
  });

  it('refuses a bomb of aliases', () => {
    const bomb = ['a: &a [x, x, x, x, x, x, x, x, x]'];
    for (let n = 1; n < 9; n++)
      bomb.push(`${'abcdefghi'[n]}: &${'abcdefghi'[n]} [${`*${'abcdefghi'[n - 1]}, `.repeat(9)}]`);
    expect(campaignFault(bomb.join('\n'))).toMatchObject({ tag: 'limit' });
  });
});

describe('process.yaml', () => {
  const stack = (layers: string) => `name: Heron\nlayers:\n${layers}`;
  const poly = '  - { name: poly, role: conductor, bottom_um: 0.3, thickness_um: 0.2 }\n';
  const metal = '  - { name: metal1, role: conductor, bottom_um: 0.9, thickness_um: 0.4 }\n';

  it.each([
    [
      'two conductors',
      '  - { name: metal2, role: conductor, bottom_um: 1.2, thickness_um: 0.4 }\n',
      '"metal2" (1.200 to 1.600 µm) and "metal1" (0.900 to 1.300 µm) share 0.100 µm',
    ],
    [
      'a via that ends inside a conductor',
      '  - { name: contact, role: via, bottom_um: 0.5, thickness_um: 0.6 }\n',
      '"contact" (0.500 to 1.100 µm) and "metal1"',
    ],
    [
      'a name twice',
      '  - { name: metal1, role: other, bottom_um: 5, thickness_um: 1 }\n',
      '"metal1" is taken',
    ],
    [
      'a via to nowhere',
      '  - { name: via1, role: via, bottom_um: 1.3, thickness_um: 0.5, joins: [metal1, metal9] }\n',
      '"metal9" is none',
    ],
  ])('refuses %s', (_, layer, words) => {
    const fault = faultOf(() => readYaml(stack(poly + metal + layer), 'process.yaml', processSchema));
    expect(fault.message).toContain(words);
    expect(fault.fields.place).toContain('line 5');
  });

  it('allows a contact that stands beside the gate, as SG13G2 and SKY130 have it', () => {
    // IHP SG13G2: GatPoly 0.40 to 0.54 um and Cont 0.40 to 1.04 um above the bottom of Activ (open PDK).
    const ihp = stack(
      '  - { name: poly, role: conductor, bottom_um: 0.40, thickness_um: 0.14 }\n' +
        '  - { name: contact, role: via, bottom_um: 0.40, thickness_um: 0.64 }\n' +
        '  - { name: metal1, role: conductor, bottom_um: 1.04, thickness_um: 0.42 }\n',
    );
    const process = readYaml(ihp, 'process.yaml', processSchema);
    expect(joinedConductors(process, process.layers[1]!)).toEqual(['poly', 'metal1']);
    // SKY130: poly 0.3262 to 0.5062, licon on diffusion 0 to 0.9361 um (stack diagram).
    const sky = stack(
      '  - { name: poly, role: conductor, bottom_um: 0.3262, thickness_um: 0.18 }\n' +
        '  - { name: licon, role: via, bottom_um: 0, thickness_um: 0.9361 }\n' +
        '  - { name: li1, role: conductor, bottom_um: 0.9361, thickness_um: 0.1 }\n',
    );
    expect(readYaml(sky, 'process.yaml', processSchema).layers).toHaveLength(3);
  });
});

describe('JSON artefacts', () => {
  it('name the place and what was found', () => {
    const text = JSON.stringify({
      version: 1,
      trials: [{ kind: 'missing-via', layer: 'via2', size_um: 0.2, planted: 4, found: 9, low: 0, high: 1 }],
      precision: 1,
      false_per_1000um2: { value: 0, low: 0, high: 1 },
      size_found_um: {},
    });
    const fault = faultOf(() => readJson(text, 'selftest.json', selftestSchema));
    expect(fault.fields).toMatchObject({
      tag: 'schema',
      place: 'trials[0]',
      expected: 'no more found than planted',
    });
    expect(faultOf(() => readJson('{"version": 1', 'selftest.json', selftestSchema)).tag).toBe('malformed');
  });
});
