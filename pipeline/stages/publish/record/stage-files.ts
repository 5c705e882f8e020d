/** Which stage makes which files of a scan, and what a file of a folio is, in words. */

export interface StageFiles {
  readonly stage: string;
  readonly words: string;
  /** Beginnings of paths below the scan folder. */
  readonly makes: readonly string[];
  /** Files of earlier stages that it reads. */
  readonly uses: readonly string[];
}

export const STAGES: readonly StageFiles[] = [
  {
    ...{ stage: 'survey', makes: ['survey.json'], uses: [] },
    words: 'Headers read and checked, field of view and broken slices found, greys sampled.',
  },
  {
    ...{ stage: 'place', makes: ['placement.json', 'evidence.json', 'layers.json'], uses: ['survey.json'] },
    words: 'The place of the scan on the die and the heights of its layers.',
  },
  {
    stage: 'plate',
    makes: ['plates', 'portraits/', 'brick'],
    uses: ['placement.json', 'layers.json'],
    words: 'Slices resampled into the die frame, plate by plate, and combined into portraits.',
  },
  {
    ...{ stage: 'render', makes: ['renders/', 'pictures.json'], uses: ['plates.json'] },
    words: 'The drawing of each layer rasterised on the plate grid.',
  },
  {
    ...{
      stage: 'compare',
      makes: ['findings', 'selftest.json'],
      uses: ['placement.json', 'layers.json', 'plates.json'],
    },
    words:
      'Image and drawing compared, differences found, and the rate of finding measured by phantom edits.',
  },
  {
    ...{ stage: 'connect', makes: ['nets'], uses: ['findings.json', 'layers.json'] },
    words: 'Drawn shapes joined into nets; opens and shorts that follow from the findings.',
  },
  {
    ...{ stage: 'measure', makes: ['measurements'], uses: ['placement.json', 'layers.json', 'plates.json'] },
    words: 'Widths, pitches, vias, thicknesses and resolution measured, each with its uncertainty.',
  },
];

const TYPES: Readonly<Record<string, string>> = {
  html: 'text/html',
  css: 'text/css',
  js: 'text/javascript',
  json: 'application/json',
  csv: 'text/csv',
  txt: 'text/plain',
  svg: 'image/svg+xml',
  webp: 'image/webp',
  png: 'image/png',
  jpg: 'image/jpeg',
  dzi: 'application/xml',
  woff2: 'font/woff2',
  py: 'text/x-python',
  cff: 'application/yaml',
  md: 'text/markdown',
  tif: 'image/tiff',
  wasm: 'application/wasm',
};

/** What a reader of the record is told of a file. */
export function describeFile(path: string): { encodingFormat: string; description?: string } {
  const encodingFormat = TYPES[/\.([^.]+)$/.exec(path)?.[1] ?? ''] ?? 'application/octet-stream';
  const known = WORDS.find(([pattern]) => pattern.test(path));
  return { encodingFormat, ...(known ? { description: known[1] } : {}) };
}

const WORDS: readonly (readonly [RegExp, string])[] = [
  [/_files\/\d+\/\d+_\d+\.\w+$/, 'A tile of a Deep Zoom pyramid.'],
  [/\.dzi$/, 'Descriptor of a Deep Zoom pyramid.'],
  [
    /(plates|portraits|renders)\/[^/]+\.tif$/,
    'A picture in all its sizes: a tiled TIFF, masks of its data included.',
  ],
  [/(plates|portraits|renders)\/[^/]+\.webp$/, 'A picture in its smallest size.'],
  [/placement\.json$/, 'The map from voxel index to die micrometres, with residuals and uncertainty.'],
  [/plates\.json$/, 'Grid, heights and grey windows of the plates.'],
  [/layers\.json$/, 'Heights of the layers, and which plate shows which.'],
  [/findings\.(json|csv)$/, 'Places where image and drawing differ.'],
  [/selftest\.json$/, 'How often planted differences are found.'],
  [/measurements\.(json|csv)$/, 'Sizes, resolution and methods, with their uncertainty budgets.'],
  [/nets\.(json|csv)$/, 'Conductors joined through vias; opens and shorts.'],
  [/inputs\.json$/, 'Every file that the folio was made from, with its checksum.'],
  [/dictionary\.(json|csv)$/, 'What every key of every data file means, with its unit.'],
  [/datacite\.json$/, 'Metadata for a DOI registration.'],
  [/CITATION\.cff$/, 'How to cite the folio.'],
  [/withheld\.json$/, 'What is not published of the scan, and where.'],
  [/index\.html$/, 'A page of the folio.'],
];
