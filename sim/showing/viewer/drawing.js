// What the graphics card does: flat surfaces with or without hotspots, lines of a width in pixels, and round points.
const FLAT_VERTEX = `
attribute vec3 place; uniform mat4 view; uniform vec4 across; uniform vec4 along; uniform vec2 size; varying vec2 spot;
void main() {
  gl_Position = view * vec4(place, 1.0);
  spot = (vec2(dot(across, vec4(place, 1.0)), dot(along, vec4(place, 1.0))) + 0.5) / size;
}`;
const FLAT_FRAGMENT = `
precision highp float;
uniform vec4 paint; uniform float mapped; uniform sampler2D levels; uniform sampler2D classes;
uniform vec4 scale; varying vec2 spot;
void main() {
  gl_FragColor = paint;
  if (mapped > 0.5) {
    float level = texture2D(levels, spot).r * 255.0 / scale.y + scale.x;
    float place = floor((level - scale.z) / scale.w);
    if (place >= 0.0) gl_FragColor = vec4(texture2D(classes, vec2((min(place, 15.0) + 0.5) / 16.0, 0.5)).rgb, 1.0);
  }
}`;
const LINE_VERTEX = `
attribute vec3 place; attribute vec3 other; attribute vec2 side; attribute float walked;
uniform mat4 view; uniform vec2 pixels; uniform float width; uniform float lift; varying float way;
void main() {
  vec4 here = view * vec4(place, 1.0); vec4 there = view * vec4(other, 1.0);
  vec2 run = (there.xy / there.w - here.xy / here.w) * pixels * side.y;
  vec2 square = normalize(vec2(-run.y, run.x) + vec2(1e-9, 0.0));
  here.xy += square * side.x * width / pixels * here.w;
  here.z -= lift * here.w;
  gl_Position = here; way = walked;
}`;
const LINE_FRAGMENT = `
precision highp float;
uniform vec4 paint; uniform float dash; varying float way;
void main() {
  if (dash > 0.0 && fract(way / dash) > 0.62) discard;
  gl_FragColor = paint;
}`;
const POINT_VERTEX = `
attribute vec3 place; uniform mat4 view; uniform float width; uniform float lift;
void main() { gl_Position = view * vec4(place, 1.0); gl_Position.z -= lift * gl_Position.w; gl_PointSize = width; }`;
const POINT_FRAGMENT = `
precision highp float;
uniform vec4 paint; uniform vec4 rim;
void main() {
  float away = length(gl_PointCoord - 0.5);
  if (away > 0.5) discard;
  gl_FragColor = away > 0.34 ? rim : paint;
}`;

function makeProgram(gl, vertex, fragment) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
  const found = { program };
  for (let i = 0; i < gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS); i += 1) {
    const name = gl.getActiveUniform(program, i).name;
    found[name] = gl.getUniformLocation(program, name);
  }
  for (let i = 0; i < gl.getProgramParameter(program, gl.ACTIVE_ATTRIBUTES); i += 1) {
    const name = gl.getActiveAttrib(program, i).name;
    found[name] = gl.getAttribLocation(program, name);
  }
  return found;
}

function makeBuffer(gl, numbers) {
  const buffer = gl.createBuffer();
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.bufferData(gl.ARRAY_BUFFER, numbers instanceof Float32Array ? numbers : new Float32Array(numbers), gl.STATIC_DRAW);
  return buffer;
}

function useBuffer(gl, buffer, attributes) {
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  for (let i = 0; i < 8; i += 1) gl.disableVertexAttribArray(i);
  const stride = attributes.reduce((sum, [, count]) => sum + count, 0) * 4;
  let at = 0;
  for (const [location, count] of attributes) {
    if (location !== undefined && location >= 0) {
      gl.enableVertexAttribArray(location);
      gl.vertexAttribPointer(location, count, gl.FLOAT, false, stride, at);
    }
    at += 4 * count;
  }
}

// Pieces [[a, b], ...] as two triangles each: place, other end, side, and metres walked (for dashes).
function lineNumbers(pieces) {
  const numbers = [];
  let walked = 0;
  for (const [a, b] of pieces) {
    const length = Math.hypot(...less(b, a));
    const corner = (here, there, side, end, way) => numbers.push(...here, ...there, side, end, way);
    corner(a, b, 1, 1, walked); corner(a, b, -1, 1, walked); corner(b, a, 1, -1, walked + length);
    corner(b, a, 1, -1, walked + length); corner(a, b, -1, 1, walked); corner(b, a, -1, -1, walked + length);
    walked += length;
  }
  return new Float32Array(numbers);
}

const hexPaint = (text, alpha = 1) => [1, 3, 5].map((at) => parseInt(text.slice(at, at + 2), 16) / 255).concat(alpha);

function smallTexture(gl, width, numbers) {
  const texture = gl.createTexture();
  gl.bindTexture(gl.TEXTURE_2D, texture);
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB, width, 1, 0, gl.RGB, gl.UNSIGNED_BYTE, new Uint8Array(numbers));
  for (const key of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, key, gl.NEAREST);
  for (const key of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, key, gl.CLAMP_TO_EDGE);
  return texture;
}

// Programs of all kinds, with the classes of level as a strip of colours and a blank where there is no map.
function makePrograms(gl, classes) {
  const programs = {
    flat: makeProgram(gl, FLAT_VERTEX, FLAT_FRAGMENT), line: makeProgram(gl, LINE_VERTEX, LINE_FRAGMENT),
    point: makeProgram(gl, POINT_VERTEX, POINT_FRAGMENT),
  };
  gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
  const colours = [...classes, ...Array(16 - classes.length).fill(classes.at(-1))];
  programs.classes = smallTexture(gl, 16, colours.flatMap((text) => hexPaint(text).slice(0, 3).map((part) => Math.round(255 * part))));
  programs.blank = smallTexture(gl, 1, [255, 255, 255]);
  return programs;
}
