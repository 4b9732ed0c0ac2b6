// Small vectors and the camera's matrix. Points are (depth, across, up) in metres, as in the room; columns first.
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const less = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const plus = (a, b, share = 1) => [a[0] + share * b[0], a[1] + share * b[1], a[2] + share * b[2]];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (a) => { const size = Math.hypot(...a) || 1; return [a[0] / size, a[1] / size, a[2] / size]; };

// The camera goes round a point: `turn` counts from straight behind the seat toward the right, `rise` from level.
function cameraFrame(camera) {
  const level = Math.cos(camera.rise);
  const toward = [level * Math.cos(camera.turn), level * Math.sin(camera.turn), Math.sin(camera.rise)];
  // At the very top "up" would be undefined; the right hand follows the turn alone and never is.
  const right = [-Math.sin(camera.turn), Math.cos(camera.turn), 0];
  return { position: plus(camera.middle, toward, camera.away), toward, right, up: cross(toward, right) };
}

function viewMatrix(camera, shape) {
  const { position, toward, right, up } = cameraFrame(camera);
  const slope = 1 / Math.tan(0.5 * camera.opening);
  // All there is lies within the room's diagonal of its middle; a tight range keeps depths apart.
  const near = Math.max(0.1, camera.away - camera.reach), far = camera.away + camera.reach;
  const deep = (far + near) / (near - far), shift = 2 * far * near / (near - far);
  const row = (axis, scale) => [axis[0] * scale, axis[1] * scale, axis[2] * scale, -scale * dot(axis, position)];
  const x = row(right, slope / shape), y = row(up, slope), back = row(toward, 1);
  const columns = [];
  for (let i = 0; i < 4; i += 1) {
    columns.push(x[i], y[i], back[i] * deep + (i === 3 ? shift : 0), -back[i]);
  }
  return new Float32Array(columns);
}

// Where a point appears: pixels from the upper left corner; null behind the camera.
function onScreen(matrix, point, width, height) {
  const at = (row) => matrix[row] * point[0] + matrix[4 + row] * point[1] + matrix[8 + row] * point[2] + matrix[12 + row];
  const w = at(3);
  return w <= 0 ? null : [0.5 * width * (1 + at(0) / w), 0.5 * height * (1 - at(1) / w)];
}

// Direction of sight through a pixel.
function sightThrough(camera, shape, x, y) {
  const { toward, right, up } = cameraFrame(camera);
  const slope = Math.tan(0.5 * camera.opening);
  return unit(plus(plus(plus([0, 0, 0], toward, -1), right, x * slope * shape), up, y * slope));
}

// Step back until all corners are in the picture, then look at the middle of what is seen.
function stepBack(camera, corners, shape) {
  for (let round = 0; round < 3; round += 1) {
    const { toward, right, up } = cameraFrame(camera);
    const slope = Math.tan(0.5 * camera.opening) * 0.93;
    let away = 0;
    for (const corner of corners) {
      const seen = less(corner, camera.middle), ahead = dot(seen, toward);
      away = Math.max(away, ahead + Math.abs(dot(seen, right)) / (slope * shape), ahead + Math.abs(dot(seen, up)) / slope);
    }
    camera.away = away;
    const spread = [Infinity, -Infinity, Infinity, -Infinity];
    for (const corner of corners) {
      const seen = less(corner, camera.middle), deep = away - dot(seen, toward);
      const x = dot(seen, right) / deep, y = dot(seen, up) / deep;
      spread[0] = Math.min(spread[0], x); spread[1] = Math.max(spread[1], x);
      spread[2] = Math.min(spread[2], y); spread[3] = Math.max(spread[3], y);
    }
    camera.middle = plus(camera.middle, right, 0.5 * (spread[0] + spread[1]) * away);
    camera.middle = plus(camera.middle, up, 0.5 * (spread[2] + spread[3]) * away);
  }
}
