/** `stratafolio new`: a campaign folder to fill in. */
import { mkdir, readdir } from 'node:fs/promises';
import { basename, join, resolve } from 'node:path';
import { InputFault } from '../../shared/errors.ts';
import { diskFault, writeAtomically } from '../output/files.ts';

export async function newCampaign(folder: string): Promise<number> {
  const target = resolve(folder);
  const there = await readdir(target).catch(() => []);
  if (there.length > 0) {
    throw new InputFault({
      tag: 'inconsistent',
      file: folder,
      expected: 'an empty place',
      found: `a folder with ${there.length} entries`,
      remedy: 'Choose another name.',
    });
  }
  try {
    await mkdir(join(target, 'slices'), { recursive: true });
    await mkdir(join(target, 'layout'), { recursive: true });
  } catch (error) {
    throw diskFault(error, folder);
  }
  await writeAtomically(join(target, 'campaign.yaml'), campaignTemplate(basename(target)));
  await writeAtomically(join(target, 'process.yaml'), PROCESS_TEMPLATE);
  await writeAtomically(join(target, 'landmarks.csv'), LANDMARKS_TEMPLATE);
  process.stdout.write(
    `A campaign to fill in: ${folder}\n` +
      '  campaign.yaml   what, who, which files\n' +
      '  process.yaml    the process stack, bottom to top\n' +
      '  landmarks.csv   points you recognise in image and drawing\n' +
      '  slices/         the reconstructed slices go here\n' +
      '  layout/         the GDSII file goes here\n' +
      `Then: stratafolio check ${folder}\n`,
  );
  return 0;
}

const campaignTemplate = (
  name: string,
): string => `# What this campaign is, who made it, and where its files are. Lines that begin with # are comments.
stratafolio: 1
title: ${JSON.stringify(name)}
summary: One paragraph of Markdown about the chip and the scan.
creators:
  - { name: A. Example, affiliation: Example Institute }      # orcid: 0000-0002-1825-0097
publisher: Example Institute
year: ${new Date().getFullYear()}
licence: CC-BY-4.0              # SPDX identifier; say what others may do
# identifier: 10.5555/example   # DOI, once there is one

chip:
  name: ${JSON.stringify(name)}
  process: process.yaml
  layout: { file: layout/chip.gds }        # .gds or .gds.gz; top: NAME where there are several top cells

scans:
  - id: fine                    # lower-case letters, digits, hyphens; stands in addresses
    title: Fine scan
    volume: { files: "slices/*.tif" }
    # or: volume: { raw: volume.raw, shape: [slices, rows, columns], dtype: uint16le }
    voxel_nm: [20, 20, 20]      # x, y, z; leave out where the files state it
    order: auto                 # top-first: slice 0 lies nearest the top metal; bottom-first
    seen_from: auto             # front | back (mirrored)
    # grey_unit: "e/Å³"         # where the grey values are a physical quantity
    placement: { landmarks: landmarks.csv }
    acquisition:                # optional; recorded, checked for consistency, published
      technique: X-ray laminography
      energy_keV: 8.0
      laminography_deg: 60      # angle between beam and rotation axis
      projections: 1200

# lessons: "lessons/*.md"
# withhold:                         # what must not be published; stratafolio check lists what will be
#   drawn: ["90/0"]                 # drawn layers
#   cells: ["VENDOR_*"]             # cells, with the image over them
#   regions_um: [[0, 0, 20, 20]]    # x0, y0, x1, y1
# A reviews.csv beside this file, saved from the findings of a folio, is taken in by the next build.
`;

const PROCESS_TEMPLATE = `# The process stack, bottom to top. Heights are micrometres above the silicon.
# role: conductor | via | other. drawn: layer/datatype pairs of the layout.
name: My process
layers:
  - { name: poly,    role: conductor, bottom_um: 0.30, thickness_um: 0.20, material: polysilicon, drawn: ["11/0"] }
  - { name: contact, role: via,       bottom_um: 0.50, thickness_um: 0.40, material: tungsten,    drawn: ["12/0"] }
  - { name: metal1,  role: conductor, bottom_um: 0.90, thickness_um: 0.40, material: aluminium,   drawn: ["21/0"], labels: ["21/9"] }
`;

const LANDMARKS_TEMPLATE = `# Points you recognise both in the slices and in the drawing: via centres, wire corners.
# i, j, k: column, row and slice in the files, counted from 0 (fractions are welcome).
# x_um, y_um: the layout's own coordinates; z_um: height above the silicon.
# Six or more, spread over the field and over the depth. Three are the least.
i,j,k,x_um,y_um,z_um
`;
