/**
 * Every built page is valid HTML. @source html-validate, an independent validator, with its rules after the HTML
 * standard and its rules of accessibility.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { HtmlValidate } from 'html-validate';
import { WORK } from './support/build-site.ts';
import { expect, test } from './support/page.ts';

const validator = new HtmlValidate({
  root: true,
  extends: ['html-validate:standard', 'html-validate:a11y'],
  rules: {
    // Tables that become cards on a phone lose their roles with their display, and so say them.
    'no-redundant-role': 'off',
    // A box that scrolls is a named region for the keyboard; a <section> would be one more chapter.
    'prefer-native-element': ['error', { exclude: ['region'] }],
    // Names are looked up with every letter; there is nothing to send.
    'wcag/h32': 'off',
  },
});

test('every page is valid HTML', async () => {
  const folder = join(WORK, 'folio');
  const pages = readdirSync(folder, { recursive: true, encoding: 'utf8' }).filter((name) =>
    name.endsWith('.html'),
  );
  expect(pages.length).toBeGreaterThan(20);
  const faults: string[] = [];
  for (const page of pages) {
    const { results } = await validator.validateString(readFileSync(join(folder, page), 'utf8'), page);
    for (const { messages } of results)
      for (const { ruleId, message, line, column } of messages)
        faults.push(`${page}:${line}:${column} ${ruleId}: ${message}`);
  }
  expect(faults).toEqual([]);
});
