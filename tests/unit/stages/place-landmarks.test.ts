import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { readLandmarks } from '../../../pipeline/stages/place/landmarks.ts';
import { InputFault, type InputFaultFields } from '../../../shared/errors.ts';

const HEADER = 'i,j,k,x_um,y_um,z_um';
const ROWS = [
  '10,20,3,1.5,2.5,0.9',
  '110,20,3,5.5,2.5,0.9',
  '10,220.5,3,1.5,-5.52,0.9',
  '60,90,43,3.5,-0.3,2.9',
];
const FILE = [HEADER, ...ROWS].join('\n');

function faultOf(text: string): InputFaultFields {
  try {
    readLandmarks(text, 'landmarks.csv');
  } catch (error) {
    if (error instanceof InputFault) return error.fields;
    throw error;
  }
  throw new Error('No fault was raised.');
}

const withRows = (...rows: string[]): string => [HEADER, ...rows].join('\n');

describe('what is read', () => {
  const wanted = [
    { voxel: [10, 20, 3], dieUm: [1.5, 2.5, 0.9] },
    { voxel: [110, 20, 3], dieUm: [5.5, 2.5, 0.9] },
    { voxel: [10, 220.5, 3], dieUm: [1.5, -5.52, 0.9] },
    { voxel: [60, 90, 43], dieUm: [3.5, -0.3, 2.9] },
  ];

  test('numbers, lines and labels', () => {
    const landmarks = readLandmarks(FILE, 'landmarks.csv');
    expect(landmarks).toMatchObject(wanted);
    expect(landmarks.map(({ line, label }) => [line, label])).toEqual([
      [2, 'line 2'],
      [3, 'line 3'],
      [4, 'line 4'],
      [5, 'line 5'],
    ]);
  });

  test.each([
    ['CRLF and a last line end', FILE.replaceAll('\n', '\r\n').concat('\r\n')],
    ['a byte order mark', `\uFEFF${FILE}`],
    ['semicolons', FILE.replaceAll(',', ';')],
    ['tabs', FILE.replaceAll(',', '\t')],
    ['blanks around cells', FILE.replaceAll(',', ' , ')],
    ['quoted cells', FILE.replace('10,20,3', '"10","20","3"')],
    ['capitals in the header', FILE.replace('x_um', 'X_um').replace('i,', 'I,')],
    ['signs and exponents', FILE.replace('110', '+1.1e2').replace('0.9', '.9').replace('43', '43.')],
  ])('%s make no difference', (_, text) => {
    expect(readLandmarks(text, 'landmarks.csv')).toMatchObject(wanted);
  });

  test('any order of columns, a name, comments and blank lines; lines are counted as an editor counts them', () => {
    const text = [
      '# via centres',
      '',
      'name,z_um,x_um,y_um,k,j,i',
      '"pad, north",0.9,1.5,2.5,3,20,10',
      '  # indented remark',
      'pad "B",0.9,5.5,2.5,3,20,110',
      '"say ""C""",0.9,1.5,-5.52,3,220.5,10',
      '',
      ',2.9,3.5,-0.3,43,90,60',
    ].join('\n');
    const landmarks = readLandmarks(text, 'landmarks.csv');
    expect(landmarks).toMatchObject(wanted);
    expect(landmarks.map(({ label }) => label)).toEqual([
      'line 4 (pad, north)',
      'line 6 (pad "B")',
      'line 7 (say "C")',
      'line 9',
    ]);
  });

  test('any numbers come back as written', () => {
    const number = fc.double({ min: -1e6, max: 1e6, noNaN: true });
    fc.assert(
      fc.property(fc.array(fc.tuple(number, number, number), { minLength: 3, maxLength: 12 }), (extra) => {
        const rows = extra.map((p, n) => [n * n, n, n % 3, ...p]);
        const text = withRows(...rows.map((row) => row.join(',')));
        try {
          const landmarks = readLandmarks(text, 'landmarks.csv');
          expect(landmarks.map(({ voxel, dieUm }) => [...voxel, ...dieUm])).toEqual(
            rows.map((row) => row.map((v) => v + 0)),
          );
        } catch (error) {
          // Random points may repeat or lie in one line; no other fault may come up.
          expect(error instanceof InputFault && error.tag).toBe('inconsistent');
        }
      }),
      { seed: 5, numRuns: 200 },
    );
  });
});

describe('one clear fault', () => {
  test.each([
    [
      'a misspelt column is shown with the name it was taken for',
      FILE.replace('x_um', 'x_mu'),
      {
        tag: 'schema',
        place: 'line 1',
        expected: 'the column "x_um"',
        found: '"x_mu", the nearest name to it',
      },
    ],
    [
      'a missing column',
      FILE.replace(/,[^,\n]*$/gm, ''),
      {
        tag: 'schema',
        place: 'line 1',
        expected: 'the column "z_um"',
        found: 'only "i", "j", "k", "x_um", "y_um"',
      },
    ],
    ['no header at all', ROWS.join('\n'), { tag: 'schema', place: 'line 1', expected: 'the column "i"' }],
    [
      'a column that is not known',
      FILE.replace('z_um', 'z_um,nmae').replace(/0\.9$|2\.9$/gm, '$&,a'),
      { tag: 'schema', found: 'the column "nmae" (the nearest known one is "name")' },
    ],
    [
      'a column twice',
      FILE.replace('z_um', 'z_um,i').replace(/0\.9$|2\.9$/gm, '$&,1'),
      { tag: 'schema', place: 'line 1', found: 'the column "i" twice' },
    ],
    [
      'a word in the place of a number, with line and column',
      FILE.replace('5.5', 'five'),
      { tag: 'malformed', place: 'line 3, column "x_um"', expected: 'a number', found: '"five"' },
    ],
    [
      'hexadecimal',
      FILE.replace('110', '0x6e'),
      { tag: 'malformed', place: 'line 3, column "i"', found: '"0x6e"' },
    ],
    ['NaN', FILE.replace('110', 'NaN'), { tag: 'malformed', place: 'line 3, column "i"' }],
    ['a number beyond all bounds', FILE.replace('110', '1e999'), { tag: 'malformed', found: '"1e999"' }],
    [
      'an empty cell',
      FILE.replace(',5.5,', ',,'),
      { tag: 'malformed', place: 'line 3, column "x_um"', found: 'nothing' },
    ],
    [
      'a decimal comma in a file with semicolons',
      FILE.replaceAll(',', ';').replace('5.5', '5,5'),
      {
        tag: 'malformed',
        place: 'line 3, column "x_um"',
        found: '"5,5"',
        remedy: 'Write decimals with a point.',
      },
    ],
    [
      'a decimal comma in a file with commas',
      FILE.replace('110', '110,0'),
      {
        tag: 'malformed',
        place: 'line 3',
        expected: '6 cells as in the header, separated by commas',
        found: '7',
      },
    ],
    [
      'a line that is too short',
      FILE.replace(',5.5,2.5,0.9', ',5.5'),
      { tag: 'malformed', place: 'line 3', found: '4' },
    ],
    [
      'a quote left open',
      FILE.replace('110', '"110'),
      { tag: 'malformed', place: 'line 3', found: 'the end of the line' },
    ],
    ['an empty file', '', { tag: 'schema', found: 'no line that is not blank or a comment' }],
    ['only comments', '# nothing yet\n\n', { tag: 'schema' }],
    ['a header alone', HEADER, { tag: 'inconsistent', expected: 'at least 3 landmarks', found: '0' }],
    ['two landmarks', withRows(...ROWS.slice(0, 2)), { tag: 'inconsistent', found: '2' }],
    [
      'one voxel at two places',
      withRows(...ROWS, '10,20.0,3,7,7,7'),
      {
        tag: 'inconsistent',
        place: 'line 6',
        expected: 'a voxel index of its own',
        found: '(10, 20, 3), which line 2 has too',
      },
    ],
    [
      'two voxels at one place',
      withRows(...ROWS, '70,70,7,1.5,2.5,0.9'),
      { tag: 'inconsistent', place: 'line 6', expected: 'a die position of its own' },
    ],
    ['a line written twice', withRows(...ROWS, ROWS[0]!), { tag: 'inconsistent', place: 'line 6' }],
    [
      'landmarks in one line of the slices, to within a voxel',
      withRows('0,0,0,0,0,0', '100,50.4,10,4,-2,0.4', '200,100,20.3,8,-4,0.8', '400,200,40,16,-8,2.9'),
      { tag: 'inconsistent', found: '4 landmarks in one line in the slices' },
    ],
    [
      'landmarks in one line on the die',
      withRows('0,0,0,0,0,0', '100,0,0,4,0,0', '200,90,20,8,0,0'),
      { tag: 'inconsistent', found: '3 landmarks in one line on the die' },
    ],
  ] as [string, string, Partial<InputFaultFields>][])('%s', (_, text, wanted) => {
    const fields = faultOf(text);
    expect(fields).toMatchObject({ ...wanted, file: 'landmarks.csv' });
    expect(fields.remedy).toMatch(/\.$/);
  });

  test('the message is one sentence of what and one of what to do', () => {
    expect(() => readLandmarks(FILE.replace('5.5', 'five'), 'landmarks.csv')).toThrow(
      'landmarks.csv, line 3, column "x_um": expected a number, found "five"\n  What to do: Put a number there.',
    );
  });
});
