"""python3 make.py FOLDER SEED [--kind sound|faults|wrong|repeat] [...]: a campaign, and truth.json beside it."""

import argparse
import json
import os

import numpy as np

from chip import Chip
from image import image, plant_faults, voxel_to_die

DIE_UM = 60.0

parser = argparse.ArgumentParser()
parser.add_argument("folder")
parser.add_argument("seed", type=int)
parser.add_argument("--kind", default="faults", choices=["sound", "faults", "wrong", "repeat"])
parser.add_argument("--field", type=float, default=45, help="side of the field, pitches")
parser.add_argument("--per", type=float, default=5, help="voxels in the smallest width")
parser.add_argument("--cnr", type=float, default=4)
parser.add_argument("--blur", type=float, default=0.8, help="standard deviation, voxels")
parser.add_argument("--cone", type=float, default=30, help="half angle of the missing cone, degrees; 0 for none")
parser.add_argument("--warp", type=float, default=0, help="largest bending in the plane, voxels")
parser.add_argument("--broken", type=float, default=0, help="share of slices that are lost")
parser.add_argument("--hard", action="store_true", help="fill, bridges and pieces of metal besides")
parser.add_argument("--straight", action="store_true", help="not turned in the plane")
o = parser.parse_args()

random = np.random.default_rng(o.seed)
chip = Chip(random, DIE_UM, repeat=o.kind == "repeat")
field_um, voxel_um = o.field * chip.pitch_um, chip.width_um / o.per
spans, height = [], chip.layers[0].bottom_um
for layer in chip.layers:
    thickness = layer.thickness_um * random.uniform(0.92, 1.08)
    spans.append((height, height + thickness))
    height += thickness
centre = random.uniform(0.8 * field_um, DIE_UM - 0.8 * field_um, 2)
made, faults = plant_faults(chip, centre, field_um, random, o.hard)
if o.kind != "faults":
    made, faults = {layer.name: layer.boxes for layer in chip.layers}, []
size = [int(field_um / voxel_um)] * 2 + [int((height + 0.3) / voxel_um)]
order, seen = str(random.choice(["top-first", "bottom-first"])), str(random.choice(["front", "back"]))
to_die = voxel_to_die(size, voxel_um, [*centre, height / 2], order, seen, random, not o.straight)
greys, inverted, bend = image(chip, made, spans, to_die, size, voxel_um, field_um, o, random)

os.makedirs(o.folder)
greys.tofile(f"{o.folder}/scan.raw")
chip.write_process(f"{o.folder}/process.yaml")
drawn = chip
if o.kind == "wrong":
    # Another block of the same process: the same stack, other cells and wires.
    drawn = Chip(np.random.default_rng(o.seed + 100_000), DIE_UM, like=chip)
drawn.write_gdsii(f"{o.folder}/block.gds")
with open(f"{o.folder}/campaign.yaml", "w") as file:
    file.write(
        f"stratafolio: 1\ntitle: Outside campaign {o.seed}\n"
        "chip: { name: BLOCK1, process: process.yaml, layout: { file: block.gds } }\n"
        "scans:\n  - id: s\n    title: Scan\n"
        f"    volume: {{ raw: scan.raw, shape: [{size[2]}, {size[1]}, {size[0]}], dtype: uint16le }}\n"
        f"    voxel_nm: {voxel_um * 1000:.3f}\n"
    )
truth = {
    "voxel_to_die_um": to_die.tolist(),
    "size": size,
    "voxel_um": voxel_um,
    "order": order,
    "seen_from": seen,
    "inverted": inverted,
    "bend_voxels": bend,
    "copper": chip.copper,
    "layers": [{"name": l.name, "bottom_um": s[0], "top_um": s[1]} for l, s in zip(chip.layers, spans)],
    "faults": faults,
}
with open(f"{o.folder}/truth.json", "w") as file:
    json.dump(truth, file)
