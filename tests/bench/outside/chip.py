"""A random block of logic in an invented process: shapes in nanometres, written as GDSII by its record layout.

Nothing here knows the pipeline: frames and files follow the written contract alone, and the GDSII bytes follow the Stream
format (release 6). Rows of cells with gates, contacts and metal 1, power rails, wires on tracks, vias where wires cross.
"""

import struct

import numpy as np

Box = tuple[int, int, int, int]


class Layer:
    def __init__(self, name: str, role: str, bottom_um: float, thickness_um: float, material: str, drawn: int):
        self.name, self.role, self.material, self.drawn = name, role, material, drawn
        self.bottom_um, self.thickness_um = bottom_um, thickness_um
        self.boxes: list[Box] = []


class Chip:
    def __init__(self, random: np.random.Generator, die_um: float, repeat: bool = False, like=None):
        self.random, self.die_um = random, die_um
        self.pitch_um = float(random.choice([0.2, 0.28, 0.4]))
        self.width_um = self.pitch_um / 2
        self.metals = int(random.integers(4, 7))
        self.copper = bool(random.random() < 0.5)
        if like:
            # Another block of the same process.
            self.pitch_um, self.width_um, self.metals, self.copper = like.pitch_um, like.width_um, like.metals, like.copper
        self.layers: list[Layer] = []
        self._stack()
        self._rows(repeat)
        self._wires(repeat)
        self._vias(repeat)
        for layer in self.layers:
            layer.boxes = sorted(set(layer.boxes))

    def layer(self, name: str) -> Layer:
        return next(layer for layer in self.layers if layer.name == name)

    def _stack(self) -> None:
        unit, height = self.pitch_um / 0.4, 0.25
        metal, plug = ("copper", "copper") if self.copper else ("aluminium", "tungsten")
        rows = [("gate", "conductor", 0.18 * unit + 0.05, "polysilicon", 5), ("ct", "via", 0.5 * unit, "tungsten", 7)]
        for n in range(1, self.metals + 1):
            rows.append((f"m{n}", "conductor", (0.36 if n <= 3 else 0.6) * unit, metal, 10 * n + 20))
            if n < self.metals:
                rows.append((f"v{n}", "via", (0.4 if n < 3 else 0.6) * unit, plug, 10 * n + 25))
        for name, role, thickness, material, drawn in rows:
            self.layers.append(Layer(name, role, height, thickness, material, drawn))
            height += thickness

    def _add(self, name: str, x0: float, y0: float, x1: float, y1: float) -> None:
        # On a grid of 5 nm, as layouts are.
        box = tuple(int(round(v * 200)) * 5 for v in (x0, y0, x1, y1))
        if box[2] > box[0] and box[3] > box[1]:
            self.layer(name).boxes.append(box)

    def _cell(self) -> tuple[float, list[tuple[str, float, float, float, float]]]:
        r, p, w = self.random, self.pitch_um, self.width_um
        gates, height = int(r.integers(3, 9)), 10 * p
        width, shapes = gates * p * 1.5, []
        for gate in range(gates):
            x = (gate + 0.5) * 1.5 * p
            low, high = p * r.uniform(1, 1.6), height - p * r.uniform(1, 1.6)
            if r.random() < 0.3:
                shapes.append(("gate", x - 0.4 * w, low, x + 0.4 * w, height / 2 - 0.5 * p))
                low = height / 2 + 0.5 * p
            if r.random() < 0.85:
                shapes.append(("gate", x - 0.4 * w, low, x + 0.4 * w, high))
            for row in r.choice(np.arange(2, 9), size=int(r.integers(1, 4)), replace=False):
                cx, cy, length = x + 0.75 * p, row * p, r.uniform(0.6, 2.2) * p
                if cx + 0.9 * w > width:
                    continue
                shapes.append(("ct", cx - w / 2, cy - w / 2, cx + w / 2, cy + w / 2))
                side = 0.65 * w
                if r.random() < 0.6:
                    shapes.append(("m1", cx - side, cy - side, cx + side, min(cy + length, height - 1.6 * p)))
                else:
                    shapes.append(("m1", cx - side, cy - side, min(cx + length, width - w), cy + side))
        return width, shapes

    def _rows(self, repeat: bool) -> None:
        r, p, height = self.random, self.pitch_um, 10 * self.pitch_um
        cells = [self._cell() for _ in range(1 if repeat else 14)]
        for row in range(int(self.die_um / height)):
            x, y = 0.0, row * height
            while True:
                width, shapes = cells[int(r.integers(len(cells)))]
                if x + width > self.die_um:
                    break
                turned, mirrored = row % 2 == 1, not repeat and r.random() < 0.5
                for name, x0, y0, x1, y1 in shapes:
                    if mirrored:
                        x0, x1 = width - x1, width - x0
                    if turned:
                        y0, y1 = height - y1, height - y0
                    self._add(name, x + x0, y + y0, x + x1, y + y1)
                x += width
                if not repeat and r.random() < 0.2:
                    x += 1.5 * p * int(r.integers(1, 4))
            # One rail for the whole row: rails of neighbours would hide a break in each other.
            self._add("m1", 0, y - 0.5 * p, self.die_um, y + 0.5 * p)

    def _wires(self, repeat: bool) -> None:
        r = self.random
        for n in range(2, self.metals + 1):
            pitch = self.pitch_um if n <= 3 else 2 * self.pitch_um
            width = pitch / 2
            for track in range(int(self.die_um / pitch)):
                middle, at = (track + 0.5) * pitch, 0.0 if repeat else r.uniform(0, 3)
                while at < self.die_um - 3 * pitch:
                    end = min(at + (8 * pitch if repeat else r.exponential(8 * pitch) + 3 * pitch), self.die_um)
                    if repeat or r.random() < 0.55:
                        along = (round(at / self.pitch_um) * self.pitch_um, round(end / self.pitch_um) * self.pitch_um)
                        across = (middle - width / 2, middle + width / 2)
                        if n % 2 == 1:
                            self._add(f"m{n}", along[0], across[0], along[1], across[1])
                        else:
                            self._add(f"m{n}", across[0], along[0], across[1], along[1])
                    at = end + (2 * pitch if repeat else r.uniform(1, 6) * pitch)

    def _vias(self, repeat: bool) -> None:
        for n in range(1, self.metals):
            side = 2 * self.width_um if n > 3 else self.width_um
            above: dict[tuple[int, int], list[Box]] = {}
            for box in self.layer(f"m{n + 1}").boxes:
                for key in _cells(box):
                    above.setdefault(key, []).append(box)
            done = set()
            for low in self.layer(f"m{n}").boxes:
                for high in {box for key in _cells(low) for box in above.get(key, [])}:
                    x0, y0 = max(low[0], high[0]), max(low[1], high[1])
                    x1, y1 = min(low[2], high[2]), min(low[3], high[3])
                    if min(x1 - x0, y1 - y0) < side * 1000 or (low, high) in done:
                        continue
                    done.add((low, high))
                    if repeat or self.random.random() < 0.45:
                        x, y = (x0 + x1) / 2000, (y0 + y1) / 2000
                        self._add(f"v{n}", x - side / 2, y - side / 2, x + side / 2, y + side / 2)

    def write_gdsii(self, path: str) -> None:
        def record(kind: int, data_type: int, data: bytes = b"") -> bytes:
            return struct.pack(">HBB", 4 + len(data), kind, data_type) + data

        def real(value: float) -> bytes:
            """Eight-byte excess-64 floating point, base 16."""
            exponent = 64
            while value < 1 / 16:
                value, exponent = value * 16, exponent - 1
            return struct.pack(">B", exponent) + int(value * 2**56).to_bytes(7, "big")

        date = struct.pack(">12H", *([2026, 1, 1, 0, 0, 0] * 2))
        with open(path, "wb") as file:
            file.write(record(0, 2, struct.pack(">h", 600)) + record(1, 2, date) + record(2, 6, b"BLOCKLIB"))
            file.write(record(3, 5, real(1e-3) + real(1e-9)) + record(5, 2, date) + record(6, 6, b"BLOCK1"))
            for layer in self.layers:
                for x0, y0, x1, y1 in layer.boxes:
                    ring = struct.pack(">10i", x0, y0, x1, y0, x1, y1, x0, y1, x0, y0)
                    file.write(record(8, 0) + record(13, 2, struct.pack(">h", layer.drawn)))
                    file.write(record(14, 2, struct.pack(">h", 0)) + record(16, 3, ring) + record(17, 0))
            file.write(record(7, 0) + record(4, 0))

    def write_process(self, path: str) -> None:
        with open(path, "w") as file:
            file.write("name: Invented process of the outside bench\nlayers:\n")
            for layer in self.layers:
                file.write(
                    f"  - {{ name: {layer.name}, role: {layer.role}, bottom_um: {layer.bottom_um:.4f}, "
                    f'thickness_um: {layer.thickness_um:.4f}, material: {layer.material}, drawn: ["{layer.drawn}/0"] }}\n'
                )


def _cells(box: Box) -> list[tuple[int, int]]:
    return [
        (x, y) for x in range(box[0] // 2000, box[2] // 2000 + 1) for y in range(box[1] // 2000, box[3] // 2000 + 1)
    ]
