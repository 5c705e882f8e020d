/**
 * The directives of lessons: what is read, and that every slip is told with file and line. The syntax of directives is
 * the open proposal "generic directives" that remark-directive implements; the names and attributes are ours.
 */
import { describe, expect, it } from 'vitest';
import { InputFault } from '../../../shared/errors.ts';
import { checkLesson, type LessonScan } from '../../../shared/lesson/check.ts';
import { readSteps } from '../../../shared/lesson/steps.ts';

/** As though five lines of front matter stood before. */
const place = { file: 'a.md', linesBefore: 5 };
const read = (text: string) => readSteps(text, place);
const scan: LessonScan = {
  id: 'fine',
  boxUm: [0, 0, 20, 10],
  // A field turned within its grid: the corners of the grid hold nothing.
  fieldUm: [10, 0, 20, 5, 10, 10, 0, 5],
  zUm: [0.2, 3],
  layers: [
    { name: 'poly', bottomUm: 0.3, topUm: 0.5 },
    { name: 'metal1', bottomUm: 0.9, topUm: 1.3 },
    { name: 'metal5', bottomUm: 5, topUm: 6 },
  ],
  nets: new Set(['clk']),
  findings: new Set(['F0001']),
};
const check = (text: string, known: LessonScan = scan) => checkLesson(read(text), [known], known.id, place);

const faultOf = (run: () => unknown): string => {
  try {
    run();
  } catch (error) {
    expect(error).toBeInstanceOf(InputFault);
    return (error as InputFault).message;
  }
  return 'no fault';
};

const step = (attributes: string, inner = ''): string => `:::::step{${attributes}}\n## T\n${inner}\n:::::\n`;
const question = (attributes: string, inner: string): string =>
  step('', `\n::::question{${attributes}}\n${inner}\n::::\n`);

describe('a lesson', () => {
  it('is taken apart into steps with views, marks and questions', () => {
    const { opening, steps, closing } = read(
      `Before.\n\n${step(
        'at="5,5" across=8 layer="metal1" show=image net=clk',
        'A :mark[wire]{at="5,5"} and :mark[box]{box="1,2,3,4"}.\n\n::::question{at="5,5" within=0.5}\nWhere?\n\n:::right\nYes.\n:::\n:::hint\nHm.\n:::\n::::',
      )}\nAfter.`,
    );
    expect([opening.length, steps.length, closing.length]).toEqual([1, 1, 1]);
    const [one] = steps;
    expect(one!.title).toBe('T');
    expect(one!.line).toBe(8);
    expect(one!.view).toMatchObject({
      atUm: [5, 5],
      acrossUm: 8,
      layer: 'metal1',
      show: 'image',
      net: 'clk',
    });
    expect(one!.marks.map(({ number, words, atUm, boxUm }) => ({ number, words, atUm, boxUm }))).toEqual([
      { number: 1, words: 'wire', atUm: [5, 5], boxUm: null },
      { number: 2, words: 'box', atUm: null, boxUm: [1, 2, 3, 4] },
    ]);
    expect(one!.questions[0]!.answer).toMatchObject({ kind: 'place', atUm: [5, 5], withinUm: 0.5 });
    expect(one!.questions[0]!.hint).toHaveLength(1);
  });

  it('keeps colons of plain prose as they are', () => {
    const { opening } = read('A ratio a:b, at 12:30, and metal:oxide.');
    expect(JSON.stringify(opening)).toContain('":b"');
    expect(JSON.stringify(opening)).not.toContain('textDirective');
  });

  it.each([
    ['a misspelt directive', ':::::stpe\n:::::', 'line 6', '"stpe"'],
    ['a misspelt attribute', `\n${step('layr="poly"')}`, 'line 7', 'the nearest is "layer"'],
    ['a bad place', step('at="5;5"'), 'line 6', 'at="x,y in micrometres"'],
    ['a width of nothing', step('across="0"'), 'line 6', 'across above zero'],
    ['a layer and a height', step('layer="poly" z="1"'), 'line 6', 'a layer or a height'],
    [
      'an unknown way to show',
      step('show="half"'),
      'line 6',
      'show= one of both, image, drawing, wipe, blend',
    ],
    ['a box turned round', step('', '\n:mark[x]{box="3,2,1,4"}'), 'line 9', 'x0 < x1'],
    ['a mark without a place', step('', '\n:mark[x]{}'), 'line 9', 'neither'],
    ['a mark in an opening', 'Text :mark[x]{at="1,1"}', 'line 6', '"mark" in its place'],
    ['text between steps', `${step('')}\nBetween.\n\n${step('')}`, 'line 11', 'text between two steps'],
    [
      'a question with two ways',
      question('at="1,1" net="clk"', 'Q\n\n:::right\nY\n:::'),
      'line 9',
      'several',
    ],
    ['a question with none', question('', 'Q\n\n:::right\nY\n:::'), 'line 9', 'none'],
    [
      'two right choices',
      question('', 'Q\n\n- [x] a\n- [x] b\n\n:::right\nY\n:::'),
      'line 12',
      '2 of them with [x]',
    ],
    ['no word for the right answer', question('at="1,1"', 'Q'), 'line 9', ':::right'],
  ])('tells of %s', (_, text, line, words) => {
    const message = faultOf(() => read(text));
    expect(message).toContain(`a.md, ${line}: expected`);
    expect(message).toContain(words);
  });
});

describe('what a lesson points at', () => {
  it.each([
    ['a place inside', step('at="10,5"')],
    ['a layer that is reached', step('layer="metal1"')],
    ['a net', step('net="clk"')],
  ])('may be %s', (_, text) => expect(faultOf(() => check(text))).toBe('no fault'));

  it.each([
    ['a place outside', step('at="25,5"'), 'line 6', 'x from 0 to 20'],
    ['a corner of the grid without data', step('at="1,9"'), 'line 6', 'not imaged'],
    ['a mark outside', step('', '\n:mark[x]{at="5,30"}'), 'line 9', '5, 30'],
    ['a misspelt layer', step('layer="metall1"'), 'line 6', 'Write "metal1"'],
    ['a layer above the scan', step('layer="metal5"'), 'line 6', '"metal5" at 5 to 6'],
    ['a height above the scan', step('z="4"'), 'line 6', '0.2 to 3'],
    ['a misspelt net', step('net="clkk"'), 'line 6', 'Write "clk"'],
    ['a finding that is none', step('finding="F0009"'), 'line 6', 'a finding of scan "fine"'],
    ['a scan that is none', step('scan="fin"'), 'line 6', 'Write "fine"'],
    ['the net of a question', question('net="rst"', 'Q\n\n:::right\nY\n:::'), 'line 9', '"rst"'],
    ['the layer of a question', question('layer="metal9"', 'Q\n\n:::right\nY\n:::'), 'line 9', '"metal9"'],
  ])('may not be %s', (_, text, line, words) => {
    const message = faultOf(() => check(text));
    expect(message).toContain(`a.md, ${line}: expected`);
    expect(message).toContain(words);
  });

  it('is not judged by what is not known yet', () => {
    const early: LessonScan = {
      ...scan,
      ...{ boxUm: null, fieldUm: null, zUm: null, nets: null, findings: null },
      layers: scan.layers.map(({ name }) => ({ name, bottomUm: null, topUm: null })),
    };
    expect(faultOf(() => check(step('at="99,99" layer="metal5" net="x"'), early))).toBe('no fault');
    expect(faultOf(() => check(step('layer="metal9"'), early))).toContain('line 6');
  });
});
