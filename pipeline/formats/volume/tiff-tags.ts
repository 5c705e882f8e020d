/** Tag numbers of the fields that are read. @source TIFF Revision 6.0 (Aldus, 1992), section 8 and appendix A. */
export const TAG = {
  newSubfileType: 254,
  subfileType: 255,
  imageWidth: 256,
  imageLength: 257,
  bitsPerSample: 258,
  compression: 259,
  photometric: 262,
  fillOrder: 266,
  imageDescription: 270,
  stripOffsets: 273,
  orientation: 274,
  samplesPerPixel: 277,
  rowsPerStrip: 278,
  stripByteCounts: 279,
  xResolution: 282,
  yResolution: 283,
  resolutionUnit: 296,
  software: 305,
  predictor: 317,
  tileWidth: 322,
  tileLength: 323,
  tileOffsets: 324,
  tileByteCounts: 325,
  sampleFormat: 339,
  /** @source Adobe Photoshop TIFF Technical Notes, TTN2. */
  jpegTables: 347,
} as const;

export type TagName = keyof typeof TAG;
