/** Worked examples that go with a folio: from voxel index to die micrometres, in two languages, without any library. */

export const PYTHON_EXAMPLE = `"""From voxel index to die micrometres, with the placement of a scan. Needs Python 3 alone.

    python3 voxel_to_die.py ../fine/placement.json 120 80 33
"""
import json
import sys


def displacement(warp, x, y):
    """Linear between the knots of the grid, held beyond its border; micrometres along x, y and z."""
    rows, columns = warp["shape"]
    u = min(max((x - warp["origin_um"][0]) / warp["step_um"], 0), columns - 1)
    v = min(max((y - warp["origin_um"][1]) / warp["step_um"], 0), rows - 1)
    c, r = min(int(u), max(0, columns - 2)), min(int(v), max(0, rows - 2))
    a, b = u - c, v - r
    c1, r1 = min(c + 1, columns - 1), min(r + 1, rows - 1)

    def at(values, row, column):
        return values[row * columns + column]

    return [
        (at(d, r, c) * (1 - a) + at(d, r, c1) * a) * (1 - b) + (at(d, r1, c) * (1 - a) + at(d, r1, c1) * a) * b
        for d in (warp["dx_um"], warp["dy_um"], warp["dz_um"])
    ]


def voxel_to_die(placement, i, j, k):
    """Column i, row j, slice k (counted from 0, at voxel centres) to X, Y, Z in micrometres."""
    x, y, z = (row[0] * i + row[1] * j + row[2] * k + row[3] for row in placement["voxel_to_die_um"])
    if placement["warp"] is not None:
        dx, dy, dz = displacement(placement["warp"], x, y)
        x, y, z = x + dx, y + dy, z + dz
    return x, y, z


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        print(*voxel_to_die(json.load(file), *map(float, sys.argv[2:5])))
`;

export const JAVASCRIPT_EXAMPLE = `// From voxel index to die micrometres, with the placement of a scan. Runs in Node and, as a module, in browsers.
//
//     node voxel_to_die.mjs ../fine/placement.json 120 80 33

/** Linear between the knots of the grid, held beyond its border; micrometres along x, y and z. */
function displacement(warp, x, y) {
  const [rows, columns] = warp.shape;
  const u = Math.min(Math.max((x - warp.origin_um[0]) / warp.step_um, 0), columns - 1);
  const v = Math.min(Math.max((y - warp.origin_um[1]) / warp.step_um, 0), rows - 1);
  const c = Math.min(Math.floor(u), Math.max(0, columns - 2));
  const r = Math.min(Math.floor(v), Math.max(0, rows - 2));
  const [a, b] = [u - c, v - r];
  const [c1, r1] = [Math.min(c + 1, columns - 1), Math.min(r + 1, rows - 1)];
  const between = (d) => {
    const at = (row, column) => d[row * columns + column];
    return (at(r, c) * (1 - a) + at(r, c1) * a) * (1 - b) + (at(r1, c) * (1 - a) + at(r1, c1) * a) * b;
  };
  return [between(warp.dx_um), between(warp.dy_um), between(warp.dz_um)];
}

/** Column i, row j, slice k (counted from 0, at voxel centres) to [X, Y, Z] in micrometres. */
export function voxelToDie(placement, i, j, k) {
  const straight = placement.voxel_to_die_um.map(([a, b, c, t]) => a * i + b * j + c * k + t);
  if (placement.warp === null) return straight;
  const moved = displacement(placement.warp, straight[0], straight[1]);
  return straight.map((value, n) => value + moved[n]);
}

if (typeof process !== 'undefined' && process.argv[2]?.endsWith('.json')) {
  const { readFileSync } = await import('node:fs');
  const [file, ...index] = process.argv.slice(2);
  console.log(...voxelToDie(JSON.parse(readFileSync(file, 'utf8')), ...index.map(Number)));
}
`;
