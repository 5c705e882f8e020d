"""What a fab may do to a drawing: faults of several kinds, and fill that no designer drew. Boxes in nanometres."""

import numpy as np


def clear(box, others, by: float) -> bool:
    return all(
        box[2] + by <= o[0] or o[2] + by <= box[0] or box[3] + by <= o[1] or o[3] + by <= box[1] for o in others
    )


def bridges(boxes, width: float) -> list:
    """Metal across the gap between two wires that run side by side, with nothing in between."""
    found = []
    for n, a in enumerate(boxes):
        for b in boxes[n + 1 :]:
            for along in (0, 1):
                across = 1 - along
                low, high = max(a[along], b[along]), min(a[along + 2], b[along + 2])
                gap_low, gap_high = min(a[across + 2], b[across + 2]), max(a[across], b[across])
                if high - low < 4 * width or not width / 2 <= gap_high - gap_low <= 3 * width:
                    continue
                middle = (low + high) / 2
                box = [0, 0, 0, 0]
                box[along], box[along + 2] = middle - 0.75 * width, middle + 0.75 * width
                box[across], box[across + 2] = gap_low, gap_high
                inner = list(box)
                inner[across] += 1
                inner[across + 2] -= 1
                if clear(inner, boxes, 0):
                    found.append(tuple(int(v) for v in box))
    return found


def extra(boxes, near, width: float, random) -> tuple | None:
    """A piece of metal in the open, two widths long and wide."""
    for _ in range(400):
        x, y = (random.uniform(low, high) for low, high in near)
        box = tuple(int(v) for v in (x - width, y - width, x + width, y + width))
        if clear(box, boxes, 1.5 * width):
            return box
    return None


def fill(boxes, near, width: float) -> list:
    """Squares in rows wherever there is room, as foundries add them to even out the polishing."""
    side, pitch = 3 * width, 5 * width
    added = []
    for x in np.arange(near[0][0], near[0][1], pitch):
        for y in np.arange(near[1][0], near[1][1], pitch):
            box = tuple(int(v) for v in (x, y, x + side, y + side))
            if clear(box, boxes, 1.5 * width):
                added.append(box)
    return added
