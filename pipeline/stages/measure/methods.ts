/** How every figure of measurements.json is obtained, in words, each with the published definition it follows. */
import type { Measurements } from '../../../shared/artefacts/measurements.ts';
import { LEAST_IN_BLURS } from '../../../shared/profile/line.ts';
import { THICKNESS_TOLERANCE } from './checks.ts';
import { PROFILE_LINES } from './layer-input.ts';
import { MATERIAL_TOLERANCE } from './materials.ts';

export const METHODS: Measurements['methods'] = [
  {
    id: 'line-width',
    title: 'Line width',
    text: `Profiles are laid across drawn edges where the drawing is straight, parallel and otherwise empty: each the mean of ${PROFILE_LINES} scan lines one pixel apart, by cubic convolution on the portrait of the layer at full resolution. An edge is the half-height point of a step blurred by a Gaussian on a ground of second order, which takes up what the missing cone and neighbours bend. From nine standard deviations of the blur on, the two edges are fitted apart; below, both together with the blur of the scan, which takes the blur off. Lines drawn narrower than ${LEAST_IN_BLURS} full widths of the blur are refused. Where enough lines have neither close by, profiles beside a via or a parallel edge of the next layers are left out. Profiles of one line share what lies above and below it, so lines, not profiles, count as independent readings. The 95 % interval is Student's t for the effective degrees of freedom times the combined standard uncertainty.`,
    source:
      'Line width at a stated height and edge criterion: glossary citing ASTM F127-84. Uncertainty: JCGM 100:2008 4.2, 4.3, 5.1, G.4.',
  },
  {
    id: 'space',
    title: 'Space',
    text: 'As line width, between the facing edges of two neighbouring shapes.',
    source: 'As line width.',
  },
  {
    id: 'pitch',
    title: 'Pitch',
    text: 'Slope of the middles of neighbouring equal lines at equal drawn spacing, up to six periods. Middles do not move with the threshold or the blur, so a pitch checks the pixel size.',
    source: 'Distance between same-side edges of neighbouring equal features: common practice, no source.',
  },
  {
    id: 'via-size',
    title: 'Via size in x and y',
    text: 'As line width, on the mean of the central two fifths of the via, so that rounded corners stay out; found once, centred, found again.',
    source: 'As line width.',
  },
  {
    id: 'via-area',
    title: 'Via size by area',
    text: 'Area within the half-height contour, corrected by what the contour of a blurred rectangle of the measured size loses, as the side of the square of equal area. Rounded corners make it smaller than the sizes in x and y.',
    source: 'Common practice, no source.',
  },
  {
    id: 'edge-placement',
    title: 'Edge placement error',
    text: 'Imaged edge minus drawn edge along the outward normal. The mean over opposite sides, both axes weighted by what is known of each, is the bias of the layer (positive: larger than drawn); half the difference of opposite sides is its shift.',
    source:
      'Signed distance of measured and target edge along the outward normal: common practice, no source.',
  },
  {
    id: 'line-edge-roughness',
    title: 'Line-edge roughness',
    text: 'Three standard deviations of the edge of single scan lines about the best-fit straight line, over the stated length and step; the variance that the noise of the image explains is taken out. Detail shorter than the blur is not seen.',
    source:
      'SEMI P47-0307 (abstract): deviation from the best-fit line; Villarrubia 2005 (abstract): noise biases upwards. 3 sigma: common practice.',
  },
  {
    id: 'line-width-roughness',
    title: 'Line-width roughness',
    text: 'As line-edge roughness, for the distance of the two edges of a line.',
    source: 'SEMI P47-0307 (abstract): variation of the local line width.',
  },
  {
    id: 'thickness',
    title: 'Thickness',
    text: `Distance of the two faces of the layer, from the heights measured in the image. The check allows ${100 * THICKNESS_TOLERANCE} % of the nominal value. Heights of the process table are no measurement and give none.`,
    source: 'Tolerance of a tenth: common practice, no source.',
  },
  {
    id: 'edge-spread',
    title: 'Edge spread in the plane',
    text: 'Distance from 10 to 90 % of the mean edge: 2.5631 times the standard deviation of the Gaussian that fits the edges, median over all edges on which it can be told. It holds the blur of the instrument, of the pixels, of resampling and of the edges themselves.',
    source: '10 to 90 % of a Gaussian blur: normal distribution, z(0.9) - z(0.1).',
  },
  {
    id: 'depth-spread',
    title: 'Edge spread in depth',
    text: 'Contrast of the narrowest lines against their surroundings from plate to plate, fitted by a blurred step up at the lower face and down at the upper face; 10 to 90 % as in the plane. The missing cone makes it a matter of line width: wide shapes have no edge in depth.',
    source: 'As edge spread in the plane; missing cone: Fourier slice theorem.',
  },
  {
    id: 'ring-correlation',
    title: 'Fourier ring correlation',
    text: 'Correlation, ring by ring of spatial frequency, of two images of one layer that share as little noise as one scan allows. It can only show detail that the layer holds: sparse or coarse shapes let it fall early. Where no edges were measured, the run of plates whose halves agree to the finest detail is shown. The resolution is half the period at which the curve first falls below the threshold: half a bit of information per pixel, or 1/7.',
    source:
      'Saxton and Baumeister, J. Microsc. 127, 127 (1982); half-bit threshold: van Heel and Schatz, J. Struct. Biol. 151, 250 (2005); 1/7: half-set correlation at which the whole correlates with the truth by one half.',
  },
  {
    id: 'geometry',
    title: 'What the acquisition allows',
    text: 'Sampling by voxels, the border of the detector, the cone of frequencies around the slice normal that laminography leaves out, and the number of projections.',
    source:
      'Holler et al., Nat. Electron. 2, 464 (2019), as quoted by public implementations; Fourier slice theorem.',
  },
  {
    id: 'material',
    title: 'Contrast and material',
    text: `Contrast is grey inside minus grey outside: the height of the step that the fit of an edge or a line finds, median over all profiles of the layer; ± is its 95 % interval. Where the volume is in electron density, or in phase with the energy known, it is compared with tabulated densities less that of silicon dioxide; a material within ${Math.round(100 * MATERIAL_TOLERANCE)} % (one standard deviation) and the interval counts as possible. In arbitrary greys only ratios are given.`,
    source:
      'Densities: material table of the xraydb package, CRC Handbook 97th ed. p. 4-92; phase: classical electron radius times wavelength times electron density, free electrons. Tolerance: common practice, no source.',
  },
];
