/** Drawn layers of the Heron process and the track grid everything is drawn on, in nanometres. */

export const DRAWN = {
  outline: '1/0',
  cellName: '1/9',
  active: '2/0',
  nwell: '3/0',
  poly: '11/0',
  contact: '12/0',
  metal1: '21/0',
  via1: '31/0',
  metal2: '22/0',
  via2: '32/0',
  metal3: '23/0',
  via3: '33/0',
  metal4: '24/0',
  via4: '34/0',
  metal5: '25/0',
} as const;

export const LABEL = {
  poly: '11/9',
  metal1: '21/9',
  metal2: '22/9',
  metal3: '23/9',
  metal4: '24/9',
  metal5: '25/9',
} as const;

/** Track pitch of metal2 and metal3 and of the cell columns. */
export const TRACK = 480;
/** Rows are eight tracks high. */
export const ROW_TRACKS = 8;
export const ROW = ROW_TRACKS * TRACK;
/** Half widths: metal1 strips in cells and supply rails. */
export const STRIP_HALF = 140;
export const RAIL_HALF = 200;
export const CONTACT_SIZE = 220;
export const VIA_SIZE = 200;
/** Full widths of routed wires by metal number. */
export const WIRE_WIDTH: Readonly<Record<2 | 3 | 4, number>> = { 2: 240, 3: 240, 4: 320 };
