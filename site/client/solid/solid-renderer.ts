/** Draws solids and one picture as a plane through them, with WebGL 2. */
import type { Box } from '../../../shared/polygon.ts';
import type { Mesh } from '../../lib/extrude.ts';

export interface DrawnLayer {
  readonly mesh: Mesh;
  /** "#rrggbb". */
  readonly colour: string;
  /** Micrometres upward. */
  readonly lift: number;
}

export interface DrawnPlane {
  /** Relative to the middle of the scene, micrometres. */
  readonly box: Box;
  readonly z: number;
}

const SOLID_VERTEX = `#version 300 es
in vec3 place;
in vec3 normal;
uniform mat4 view;
uniform float lift;
out vec3 facing;
void main() {
  facing = normal;
  gl_Position = view * vec4(place.xy, place.z + lift, 1.0);
}`;

const SOLID_FRAGMENT = `#version 300 es
precision highp float;
in vec3 facing;
uniform vec3 colour;
uniform vec2 sun;
out vec4 seen;
void main() {
  float light = facing.z > 0.5 ? 1.0 : 0.52 + 0.24 * dot(facing.xy, sun);
  seen = vec4(colour * light, 1.0);
}`;

const PLANE_VERTEX = `#version 300 es
in vec2 corner;
uniform mat4 view;
uniform vec4 box;
uniform float z;
out vec2 at;
void main() {
  at = vec2(corner.x, 1.0 - corner.y);
  gl_Position = view * vec4(mix(box.xy, box.zw, corner), z, 1.0);
}`;

const PLANE_FRAGMENT = `#version 300 es
precision highp float;
in vec2 at;
uniform sampler2D picture;
out vec4 seen;
void main() {
  vec4 grey = texture(picture, at);
  if (grey.a < 0.5) discard;
  seen = vec4(grey.rgb, 1.0);
}`;

export class SolidRenderer {
  readonly #gl: WebGL2RenderingContext;
  readonly #solid: WebGLProgram;
  readonly #plane: WebGLProgram;
  readonly #meshes = new Map<Mesh, { array: WebGLVertexArrayObject; buffer: WebGLBuffer }>();
  readonly #corners: WebGLVertexArrayObject;
  readonly #texture: WebGLTexture;

  /** @returns null where there is no WebGL 2 */
  static open(canvas: HTMLCanvasElement): SolidRenderer | null {
    // Kept, so that the picture can be saved after it was drawn.
    const gl = canvas.getContext('webgl2', { antialias: true, alpha: false, preserveDrawingBuffer: true });
    return gl ? new SolidRenderer(gl) : null;
  }

  private constructor(gl: WebGL2RenderingContext) {
    this.#gl = gl;
    this.#solid = program(gl, SOLID_VERTEX, SOLID_FRAGMENT);
    this.#plane = program(gl, PLANE_VERTEX, PLANE_FRAGMENT);
    this.#corners = gl.createVertexArray()!;
    gl.bindVertexArray(this.#corners);
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, Float32Array.from([0, 0, 1, 0, 0, 1, 1, 1]), gl.STATIC_DRAW);
    attribute(gl, this.#plane, 'corner', 2, 8, 0);
    this.#texture = gl.createTexture()!;
  }

  /** Lets go of all solids. */
  clear(): void {
    for (const { array, buffer } of this.#meshes.values()) {
      this.#gl.deleteVertexArray(array);
      this.#gl.deleteBuffer(buffer);
    }
    this.#meshes.clear();
  }

  setPicture(picture: ImageData | HTMLCanvasElement, smooth: boolean): void {
    const gl = this.#gl;
    gl.bindTexture(gl.TEXTURE_2D, this.#texture);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, gl.RGBA, gl.UNSIGNED_BYTE, picture);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, smooth ? gl.LINEAR : gl.NEAREST);
  }

  /** @param view column by column @param sunDeg direction of the light about the vertical */
  draw(view: Float32Array, sunDeg: number, layers: readonly DrawnLayer[], plane: DrawnPlane | null): void {
    const gl = this.#gl;
    gl.viewport(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight);
    gl.clearColor(11 / 255, 12 / 255, 14 / 255, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.useProgram(this.#solid);
    const at = (name: string) => gl.getUniformLocation(this.#solid, name);
    gl.uniformMatrix4fv(at('view'), false, view);
    const sun = (sunDeg * Math.PI) / 180;
    gl.uniform2f(at('sun'), Math.cos(sun), Math.sin(sun));
    for (const { mesh, colour, lift } of layers) {
      if (mesh.triangles === 0) continue;
      const value = Number.parseInt(colour.slice(1), 16);
      gl.uniform3f(at('colour'), (value >> 16) / 255, ((value >> 8) & 255) / 255, (value & 255) / 255);
      gl.uniform1f(at('lift'), lift);
      gl.bindVertexArray(this.#held(mesh).array);
      gl.drawArrays(gl.TRIANGLES, 0, 3 * mesh.triangles);
    }
    if (!plane) return;
    gl.useProgram(this.#plane);
    const on = (name: string) => gl.getUniformLocation(this.#plane, name);
    gl.uniformMatrix4fv(on('view'), false, view);
    gl.uniform4f(on('box'), ...(plane.box as [number, number, number, number]));
    gl.uniform1f(on('z'), plane.z);
    gl.bindTexture(gl.TEXTURE_2D, this.#texture);
    gl.bindVertexArray(this.#corners);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }

  #held(mesh: Mesh): { array: WebGLVertexArrayObject; buffer: WebGLBuffer } {
    const found = this.#meshes.get(mesh);
    if (found) return found;
    const gl = this.#gl;
    const held = { array: gl.createVertexArray()!, buffer: gl.createBuffer()! };
    gl.bindVertexArray(held.array);
    gl.bindBuffer(gl.ARRAY_BUFFER, held.buffer);
    gl.bufferData(gl.ARRAY_BUFFER, mesh.vertices, gl.STATIC_DRAW);
    attribute(gl, this.#solid, 'place', 3, 24, 0);
    attribute(gl, this.#solid, 'normal', 3, 24, 12);
    this.#meshes.set(mesh, held);
    return held;
  }
}

function attribute(
  gl: WebGL2RenderingContext,
  of: WebGLProgram,
  name: string,
  size: number,
  stride: number,
  offset: number,
): void {
  const at = gl.getAttribLocation(of, name);
  gl.enableVertexAttribArray(at);
  gl.vertexAttribPointer(at, size, gl.FLOAT, false, stride, offset);
}

function program(gl: WebGL2RenderingContext, vertex: string, fragment: string): WebGLProgram {
  const made = gl.createProgram()!;
  for (const [kind, text] of [
    [gl.VERTEX_SHADER, vertex],
    [gl.FRAGMENT_SHADER, fragment],
  ] as const) {
    const shader = gl.createShader(kind)!;
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) {
    throw new Error(`The shaders do not link: ${gl.getProgramInfoLog(made)}`);
  }
  return made;
}
