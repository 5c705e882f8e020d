/** reviews.json: what persons decided about findings, taken in from reviews.csv of the campaign. */
import { z } from 'zod';
import { findingKinds } from './findings.ts';

/** accept: a real difference; reject: a false alarm; comment: a remark without a decision. */
export const decisions = ['accept', 'reject', 'comment'] as const;

export const reviewSchema = z.object({
  scan: z.string(),
  id: z.string().describe('Number of the finding when it was judged; a later build may number anew.'),
  kind: z.enum(findingKinds),
  layer: z.string(),
  x_um: z.number(),
  y_um: z.number(),
  decision: z.enum(decisions),
  comment: z.string().max(2000),
  date: z.iso.date(),
});

export const reviewsSchema = z.object({
  version: z.literal(1),
  source: z.string().describe('File of the campaign that was read.'),
  reviews: z.array(reviewSchema),
});

/** Columns of reviews.csv, in the order in which they are written. */
export const reviewColumns = [
  'scan',
  'id',
  'kind',
  'layer',
  'x_um',
  'y_um',
  'decision',
  'comment',
  'date',
] as const;

export type Review = z.output<typeof reviewSchema>;
export type Reviews = z.output<typeof reviewsSchema>;
export type Decision = Review['decision'];
