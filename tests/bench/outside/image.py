"""A scan of the chip: electron densities on a tilted, turned, perhaps mirrored lattice, blurred, its missing cone cut away.

Densities in electrons per cubic angstrom from handbook mass densities (from memory): oxide 0.66, silicon 0.70,
aluminium 0.78, copper 2.45, tungsten 4.5.
"""

import numpy as np
from scipy import fft, ndimage

from chip import Chip
from faults import bridges, extra, fill

DENSITY = {"polysilicon": 0.70, "tungsten": 4.5, "copper": 2.45, "aluminium": 0.78}
OXIDE, SILICON, AIR = 0.66, 0.70, 0.0


def plant_faults(chip: Chip, centre_um, field_um: float, random, hard: bool) -> tuple[dict, list[dict]]:
    """
    Faults in the middle of the field: one per metal and via layer, and if `hard` a bridge and a piece of metal per metal
    layer besides, and fill all over the upper ones. Returns boxes as made, and the list of faults.
    """
    made = {layer.name: list(layer.boxes) for layer in chip.layers}
    faults = []
    width = chip.width_um * 1000
    reach = 0.36 * field_um * 1000
    inside = [(c * 1000 - reach, c * 1000 + reach) for c in centre_um]

    def middle(box) -> list[float]:
        return [(box[a] + box[a + 2]) / 2000 for a in (0, 1)]

    def apart(layer: str, at) -> bool:
        return all(
            f["layer"] != layer or max(abs(f["at_um"][a] - at[a]) for a in (0, 1)) > 16 * chip.width_um for f in faults
        )

    for layer in chip.layers[2:]:
        drawn = list(made[layer.name])
        near = [
            box for box in drawn if all(low < 1000 * m < high for m, (low, high) in zip(middle(box), inside))
        ]
        if len(near) < 8:
            continue
        box = near[int(random.integers(len(near)))]
        made[layer.name].remove(box)
        at = middle(box)
        long = 0 if box[2] - box[0] > box[3] - box[1] else 1
        length, thick = box[long + 2] - box[long], box[3 - long] - box[1 - long]
        kind = "missing-via" if layer.role == "via" else "missing-shape"
        if layer.role == "conductor" and length > 5 * thick:
            kind, gap = "open", 1.5 * thick
            at[long] = (box[long] + length * random.uniform(0.3, 0.7)) / 1000
            low, high = list(box), list(box)
            low[long + 2], high[long] = int(at[long] * 1000 - gap / 2), int(at[long] * 1000 + gap / 2)
            made[layer.name] += [tuple(low), tuple(high)]
        faults.append({"kind": kind, "layer": layer.name, "at_um": at})
        if not hard or layer.role != "conductor":
            continue
        for kind, boxes in (("bridge", bridges(near, width)), ("extra-shape", [extra(drawn, inside, width, random)])):
            boxes = [b for b in boxes if b and apart(layer.name, middle(b))]
            if boxes:
                new = boxes[int(random.integers(len(boxes)))]
                made[layer.name].append(new)
                faults.append({"kind": kind, "layer": layer.name, "at_um": middle(new)})
    if hard:
        around = [(c * 1000 - 0.75 * field_um * 1000, c * 1000 + 0.75 * field_um * 1000) for c in centre_um]
        for layer in [one for one in chip.layers if one.role == "conductor"][-3:]:
            made[layer.name] += fill(made[layer.name], around, width * (2 if layer is chip.layers[-1] else 1))
    return made, faults


def voxel_to_die(size, voxel_um: float, centre_um, order: str, seen: str, random, turned: bool) -> np.ndarray:
    """Row-major 3 x 4 map from [column, row, slice, 1] to die micrometres; `centre_um` is the middle of the volume."""
    plane, depth = 1 + random.uniform(-0.02, 0.02), 1 + random.uniform(-0.03, 0.03)
    turn = random.uniform(0, 2 * np.pi) if turned else 0.0
    tilt, way = np.deg2rad(random.uniform(0, 1.2)), random.uniform(0, 2 * np.pi)
    # Row 0 is at the top of the picture, Y points up; seen from the back X runs the other way.
    steps = np.diag(
        [
            voxel_um * plane * (1 if seen == "front" else -1),
            -voxel_um * plane,
            voxel_um * depth * (-1 if order == "top-first" else 1),
        ]
    )
    c, s = np.cos(turn), np.sin(turn)
    axis = np.array([np.cos(way), np.sin(way), 0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    tilted = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * cross @ cross  # Rodrigues
    linear = tilted @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ steps
    middle = (np.array(size) - 1) / 2
    return np.hstack([linear, (np.array(centre_um) - linear @ middle)[:, None]])


def coverage(boxes, corner_um, pixel_um: float, pixels: int) -> np.ndarray:
    out = np.zeros((pixels, pixels), np.float32)
    for box in boxes:
        x0, x1 = ((box[a] / 1000 - corner_um[0]) / pixel_um for a in (0, 2))
        y0, y1 = ((box[a] / 1000 - corner_um[1]) / pixel_um for a in (1, 3))
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, pixels), min(y1, pixels)
        if x1 <= x0 or y1 <= y0:
            continue
        i, j = np.arange(int(x0), int(np.ceil(x1))), np.arange(int(y0), int(np.ceil(y1)))
        part = np.clip(np.minimum(j + 1, y1) - np.maximum(j, y0), 0, 1)[:, None]
        part = part * np.clip(np.minimum(i + 1, x1) - np.maximum(i, x0), 0, 1)[None, :]
        there = out[j[0] : j[-1] + 1, i[0] : i[-1] + 1]
        np.maximum(there, part, out=there)
    # Corners are rounded a little, as etching does.
    return ndimage.gaussian_filter(out, 0.6)


def bends(u, v, voxels: float, random) -> list[np.ndarray]:
    """
    Smooth displacements in x, y and height over the field, in voxels, at most `voxels` in the plane and a quarter of it
    in height; without shift, turn or scale, which belong to the map.
    """
    fields = []
    for share in (1, 1, 0.25):
        waves = sum(
            random.normal() * np.cos(np.pi * (a * u + b * v) + random.uniform(0, 2 * np.pi))
            for a, b in ((1, 0), (0, 1), (1, 1), (2, 1), (1, 2))
        )
        # What an affine map takes up is taken out.
        terms = np.stack([np.ones_like(u).ravel(), u.ravel(), v.ravel()], axis=1)
        waves = waves.ravel() - terms @ np.linalg.lstsq(terms, waves.ravel(), rcond=None)[0]
        fields.append((share * voxels * waves / np.abs(waves).max()).reshape(u.shape))
    return fields


def image(chip: Chip, made: dict, spans: list, to_die: np.ndarray, size, voxel_um: float, field_um: float, o, random):
    """Volume [slice, row, column] as unsigned 16-bit greys, whether it is inverted, and the bending at 9 x 9 places."""
    columns, rows, slices = size
    extent = 1.5 * field_um
    pixels = int(extent / voxel_um)
    centre = to_die @ np.array([(columns - 1) / 2, (rows - 1) / 2, (slices - 1) / 2, 1])
    corner = (centre[0] - extent / 2, centre[1] - extent / 2)
    masks = [coverage(made[layer.name], corner, voxel_um, pixels) for layer in chip.layers]
    top = spans[-1][1]
    j, i = np.mgrid[0:rows, 0:columns]
    bend = bends(i / columns, j / rows, o.warp, random)
    volume = np.empty((slices, rows, columns), np.float32)
    for k in range(slices):
        x, y, z = (m[0] * i + m[1] * j + m[2] * k + m[3] + b * voxel_um for m, b in zip(to_die, bend))
        grey = np.where(z < 0, SILICON, np.where(z > top + 0.12, AIR, OXIDE)).astype(np.float32)
        at = [(y - corner[1]) / voxel_um - 0.5, (x - corner[0]) / voxel_um - 0.5]
        for layer, (low, high), mask in zip(chip.layers, spans, masks):
            if z.max() < low - voxel_um or z.min() > high + voxel_um:
                continue
            inside = np.clip((z - low) / voxel_um + 0.5, 0, 1) * np.clip((high - z) / voxel_um + 0.5, 0, 1)
            grey += (DENSITY[layer.material] - OXIDE) * inside * ndimage.map_coordinates(mask, at, order=1)
        volume[k] = grey
    volume = ndimage.gaussian_filter(volume, o.blur)
    if o.cone > 0:
        waves = fft.rfftn(volume)
        kz, ky, kx = (
            fft.fftfreq(slices)[:, None, None],
            fft.fftfreq(rows)[None, :, None],
            fft.rfftfreq(columns)[None, None, :],
        )
        # Frequencies within the cone around the slice normal are not measured; its opening is 90 degrees less the laminography angle.
        radius = np.sqrt(kx**2 + ky**2)
        waves *= (np.abs(kz) * np.tan(np.deg2rad(o.cone)) <= radius) | ((kz == 0) & (radius == 0))
        volume = fft.irfftn(waves, s=volume.shape).astype(np.float32)
    # Contrast to noise of copper in oxide; of an aluminium chip, of a quarter of that (its plugs stand out, its wires hardly).
    contrast = DENSITY["copper"] - OXIDE if chip.copper else 0.5
    noise = ndimage.gaussian_filter(random.normal(size=volume.shape).astype(np.float32), 0.5)
    volume += noise * (contrast / o.cnr / noise.std())
    inverted = bool(random.random() < 0.3)
    if inverted:
        volume = -volume
    for k in np.flatnonzero(random.random(slices) < o.broken):
        # Reconstructions lose slices: one comes twice, or one is nothing but noise.
        volume[k] = volume[k - 1] if k > 0 and random.random() < 0.5 else noise[k] * (contrast / noise.std())
    low, high = np.percentile(volume, [0.1, 99.9])
    greys = np.clip((volume - low) / (high - low), -0.2, 1.3) * 30000 + 12000
    if random.random() < 0.5:
        greys[:, (i - (columns - 1) / 2) ** 2 + (j - (rows - 1) / 2) ** 2 > (columns / 2) ** 2] = 0
    places = np.ix_(np.linspace(0, rows - 1, 9).round().astype(int), np.linspace(0, columns - 1, 9).round().astype(int))
    return greys.astype("<u2"), inverted, [b[places].tolist() for b in bend]
