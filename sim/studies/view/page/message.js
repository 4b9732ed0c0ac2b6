// A frame taken apart: its text, and arrays of numbers by name that lie in the message itself.
function decodeFrame(buffer) {
  const view = new DataView(buffer), length = view.getUint32(0, true);
  const frame = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const start = 4 + length, arrays = {};
  for (const [name, [kind, shape, at]] of Object.entries(frame.arrays)) {
    const count = shape.reduce((product, size) => product * size, 1);
    const values = kind === "u1" ? new Uint8Array(buffer, start + at, count) : new Float32Array(buffer, start + at, count);
    arrays[name] = { values, shape };
  }
  frame.arrays = arrays;
  frame.bytes = buffer.byteLength;
  let corner = 0;
  for (const one of frame.reflections) {
    one.points = pointsOf(arrays.paths.values.subarray(3 * corner, 3 * (corner + one.corners)));
    corner += one.corners;
  }
  return frame;
}

// The room and all that stands still, as the scheme tells it in text.
function standsOf(scheme) {
  return Object.fromEntries(Object.entries(scheme.stands).map(([name, text]) => [name, new Float32Array(Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer)]));
}

// A frame with everything in it: what stands as its scheme says, what moved in its place, things with their numbers.
function completeFrame(frame, scheme) {
  if (frame.handles) return;
  scheme.standing ??= standsOf(scheme);
  for (const [name, runs] of Object.entries(frame.moved)) {
    const values = scheme.standing[name].slice(), moved = frame.arrays[name].values, wide = { triangles: 9, lines: 6, normals: 4 }[name];
    let from = 0;
    for (const [start, count] of runs) { values.set(moved.subarray(from, from + wide * count), wide * start); from += wide * count; }
    frame.arrays[name] = { values, shape: [values.length / wide, wide] };
  }
  const { placed, told } = frame.arrays;
  let at = 0;
  frame.handles = scheme.things.map((thing, i) => {
    const points = ["at", "axis", "low", "high"].map((key, k) => [key, [...placed.values.subarray(12 * i + 3 * k, 12 * i + 3 * k + 3)]]);
    const fields = thing.fields.map((field) => { const made = { ...field, value: told.values[2 * at], follows: told.values[2 * at + 1] > 0 }; at += 1; return made; });
    return { ...thing, ...Object.fromEntries(points.filter(([, point]) => point.every(Number.isFinite))), fields };
  });
}

function pointsOf(numbers) {
  const points = [];
  for (let at = 0; at < numbers.length; at += 3) points.push([numbers[at], numbers[at + 1], numbers[at + 2]]);
  return points;
}

const escapeText = (text) => String(text).replace(/[&<>"]/g, (letter) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[letter]);
const signed = (value) => (Math.abs(value) < 0.05 ? "0.0" : minus(`${value > 0 ? "+" : ""}${value.toFixed(1)}`));

// A number as the field shows it: in the person's unit, with no more digits than a tape has.
function fieldText(field, unitName) {
  if (field.kind === "degrees") return `${minus((Math.round(field.value * 10) / 10 || 0).toFixed(1))}`;
  if (field.kind !== "length") return minus(String(Math.round(field.value * 1000) / 1000));
  if (unitName === "in" || unitName === "ft") return sixteenthWords(field.value, unitName);
  const places = { m: 3, cm: 1, mm: 0 }[unitName];
  return minus((field.value / perUnit[unitName]).toFixed(places));
}

function sixteenthWords(metres, unitName) {
  const parts = Math.round(Math.abs(metres) / 0.0254 * 16), sign = metres < 0 && parts ? "\u2212" : "";
  const feet = unitName === "ft" ? Math.floor(parts / 192) : 0, rest = parts - 192 * feet;
  const inches = Math.floor(rest / 16), part = rest % 16;
  let above = part, below = 16;
  while (above && above % 2 === 0) { above /= 2; below /= 2; }
  const fraction = above ? `${above}/${below}` : "";
  const words = [inches || !fraction ? String(inches) : "", fraction].filter(Boolean).join(" ");
  return `${sign}${feet ? `${feet} ft ` : ""}${words} in`;
}

const unitSign = (field, unitName) => (field.kind === "degrees" ? "\u00b0" : field.kind !== "length" || unitName === "in" || unitName === "ft" ? "" : unitName);
