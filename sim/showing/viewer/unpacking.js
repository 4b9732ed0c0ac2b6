// From text in the page to numbers, and where a line of sight meets a triangle.
function decodeFloats(text) {
  if (typeof text !== "string") return text; // numbers already
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  return new Float32Array(bytes.buffer);
}

// Levels come as a squeezed stream; null where the browser cannot undo that.
async function decodeLevels(text) {
  if (typeof DecompressionStream === "undefined") return null;
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

function meetTriangle(position, direction, a, b, c) {
  const ab = less(b, a), ac = less(c, a), slant = cross(direction, ac), size = dot(ab, slant);
  if (Math.abs(size) < 1e-12) return -1;
  const from = less(position, a), u = dot(from, slant) / size;
  if (u < -1e-9 || u > 1 + 1e-9) return -1;
  const turned = cross(from, ab), v = dot(direction, turned) / size;
  return v < -1e-9 || u + v > 1 + 1e-9 ? -1 : dot(ac, turned) / size;
}
