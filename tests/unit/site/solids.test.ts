/** Solids: clipping against an outside library, triangles against the shoelace formula, the camera against isometry. */
import polygonClipping from 'polygon-clipping';
import { describe, expect, it } from 'vitest';
import { signedArea } from '../../../shared/polygon.ts';
import { clipToBox } from '../../../site/lib/clip-to-box.ts';
import { extrude } from '../../../site/lib/extrude.ts';
import { lift, project, projection, sane } from '../../../site/lib/solid-camera.ts';
import { generator } from '../../fixtures/random.ts';

/** A star of upright and slanted edges, counter-clockwise, never crossing itself. */
function star(random: () => number): number[] {
  const points: number[] = [];
  const corners = 5 + Math.floor(8 * random());
  for (let n = 0; n < corners; n++) {
    const [angle, radius] = [(2 * Math.PI * n) / corners, 1 + 4 * random()];
    points.push(10 + radius * Math.cos(angle), 8 + radius * Math.sin(angle));
  }
  return points;
}

describe('clipping to a box', () => {
  it('keeps the area that polygon-clipping finds', () => {
    const random = generator(11);
    let cut = 0;
    for (let run = 0; run < 300; run++) {
      const ring = star(random);
      const x0 = 5 + 8 * random();
      const y0 = 4 + 7 * random();
      const box = [x0, y0, x0 + 0.5 + 5 * random(), y0 + 0.5 + 5 * random()] as const;
      const pairs = Array.from({ length: ring.length / 2 }, (_, n): [number, number] => [
        ring[2 * n]!,
        ring[2 * n + 1]!,
      ]);
      const square: [number, number][] = [
        [box[0], box[1]],
        [box[2], box[1]],
        [box[2], box[3]],
        [box[0], box[3]],
      ];
      const outside = polygonClipping.intersection([pairs], [square]);
      const wanted = outside.flat().reduce((sum, one) => sum + signedArea(one.slice(0, -1).flat()), 0);
      const clipped = clipToBox(ring, box);
      expect(signedArea(clipped)).toBeCloseTo(wanted, 9);
      if (wanted > 0 && wanted < signedArea(ring) - 1e-9) cut++;
      for (let n = 0; n < clipped.length; n += 2) {
        expect(clipped[n]! >= box[0] - 1e-12 && clipped[n]! <= box[2] + 1e-12).toBe(true);
      }
    }
    expect(cut).toBeGreaterThan(100);
  });
});

describe('extruding', () => {
  const L = [0, 0, 3, 0, 3, 1, 1, 1, 1, 2, 0, 2];
  const far = [-9, -9, 9, 9] as const;
  const facing = (mesh: { vertices: Float32Array }, n: number): number[] => [
    ...mesh.vertices.subarray(18 * n + 3, 18 * n + 6),
  ];

  it('tops have the area of the shape, at the upper face', () => {
    const mesh = extrude([{ ring: L }], 0.9, 1.4, far);
    let area = 0;
    let tops = 0;
    for (let n = 0; n < mesh.triangles; n++) {
      if (facing(mesh, n)[2] !== 1) continue;
      tops++;
      const v = mesh.vertices.subarray(18 * n, 18 * n + 18);
      area += signedArea([v[0]!, v[1]!, v[6]!, v[7]!, v[12]!, v[13]!]);
      for (const z of [v[2], v[8], v[14]]) expect(z).toBeCloseTo(1.4, 6);
    }
    // Six corners make four triangles; 3 + 1 by the shoelace formula.
    expect(tops).toBe(4);
    expect(Math.abs(area)).toBeCloseTo(4, 6);
    expect(mesh.triangles).toBe(4 + 2 * 6);
  });

  it('walls face outward: the flow of (x, 0, 0) through them is the volume, by the divergence theorem', () => {
    const mesh = extrude([{ ring: L }], 0.9, 1.4, far);
    let flow = 0;
    for (let n = 0; n < mesh.triangles; n++) {
      const v = mesh.vertices.subarray(18 * n, 18 * n + 18);
      if (v[5] === 1) continue;
      const [ux, uy, uz] = [v[6]! - v[0]!, v[7]! - v[1]!, v[8]! - v[2]!];
      const [wx, wy, wz] = [v[12]! - v[0]!, v[13]! - v[1]!, v[14]! - v[2]!];
      const area = Math.hypot(uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx) / 2;
      flow += ((v[0]! + v[6]! + v[12]!) / 3) * v[3]! * area;
    }
    expect(flow).toBeCloseTo(4 * 0.5, 5);
  });

  it('has no wall where one tile goes on in the next, and one where the scene ends', () => {
    const ring = [0, 0, 2, 0, 2, 1, 0, 1];
    const seam = [-5, -5, 2, 5] as const;
    expect(extrude([{ ring, seam }], 0, 1, far).triangles).toBe(2 + 2 * 3);
    expect(extrude([{ ring, seam }], 0, 1, [-5, -5, 2, 5]).triangles).toBe(2 + 2 * 4);
  });
});

describe('the camera of solids', () => {
  // Turned by 45 degrees and tilted by asin(tan 30), the three axes are equally long: the isometric projection of
  // technical drawing (ISO 5456-3, from memory), each sqrt(2/3) of its length.
  const isometric = { turnDeg: 45, tiltDeg: (Math.asin(Math.tan(Math.PI / 6)) * 180) / Math.PI, halfUm: 1 };

  it('is isometric where technical drawing says so', () => {
    for (const axis of [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ] as const) {
      const [right, up] = project(isometric, axis);
      expect(Math.hypot(right, up)).toBeCloseTo(Math.sqrt(2 / 3), 12);
    }
  });

  it('from straight above shows X right and Y up, the higher nearer', () => {
    const above = { turnDeg: 0, tiltDeg: 90, halfUm: 4 };
    const [right, up] = project(above, [2, 3, 7]);
    expect(right).toBeCloseTo(0.5, 12);
    expect(up).toBeCloseTo(0.75, 12);
    expect(project(above, [0, 0, 1])[2]).toBeGreaterThan(project(above, [0, 0, 0])[2]);
  });

  it('gives the graphics card the same places', () => {
    const camera = { turnDeg: -28, tiltDeg: 34, halfUm: 5 };
    const m = projection(camera, 1.6, 30);
    const point = [1.5, -2, 0.7] as const;
    const row = (r: number): number =>
      m[r]! * point[0] + m[4 + r]! * point[1] + m[8 + r]! * point[2] + m[12 + r]!;
    const [right, up, near] = project(camera, point);
    expect(row(0)).toBeCloseTo(right / 1.6, 6);
    expect(row(1)).toBeCloseTo(up, 6);
    // Clip space of WebGL: smaller is nearer.
    expect(row(2)).toBeCloseTo((-near * 5) / 30, 6);
    expect(sane({ turnDeg: 190, tiltDeg: 120, halfUm: 1 })).toMatchObject({ turnDeg: -170, tiltDeg: 90 });
  });

  it('lifts heights so that order and layers stay whole', () => {
    const spans = [
      { bottom_um: 0.3, top_um: 0.5 },
      { bottom_um: 0.9, top_um: 1.3 },
      { bottom_um: 1.3, top_um: 1.8 },
    ];
    expect(lift(spans, 0.4, 2)).toBe(0);
    expect(lift(spans, 0.9, 2)).toBe(2);
    expect(lift(spans, 1.1, 2)).toBe(2);
    expect(lift(spans, 1.5, 2)).toBe(4);
    expect(lift(spans, 0.7, 2)).toBeCloseTo(1, 12);
    expect(lift(spans, 9, 2)).toBe(4);
    let before = Number.NEGATIVE_INFINITY;
    for (let z = 0; z < 2.5; z += 0.01) {
      expect(z + lift(spans, z, 2)).toBeGreaterThan(before);
      before = z + lift(spans, z, 2);
    }
  });
});
