// One layout on the graphics card: which parts are seen from where, how they are painted, and what a pixel shows.
const PAINTS = { room: "#f4f2ec", window: "#cfdfea", door: "#e6d9c4", furniture: "#d3c7b3", loudspeaker: "#4b4a48" };
const PANEL_PAINT = "#7d9b88";
const OVERHEAD_M = 0.35, NEAR_WALL_M = 0.6;
const EDGE_LIFT = 0.0012; // toward the viewer, so that an edge wins over the surfaces that meet in it
const BOX_SIDES = [[0, 1, 2, 3], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]];

class RoomPicture {
  constructor(gl, programs, data, report) {
    this.gl = gl; this.programs = programs; this.data = data; this.report = report;
    this.triangles = decodeFloats(data.triangles);
    this.surfaces = makeBuffer(gl, this.triangles);
    this.corners = [];
    for (const facet of data.facets) {
      facet.corners = [];
      for (let at = facet.start * 9; at < (facet.start + facet.count) * 9; at += 3) {
        facet.corners.push([this.triangles[at], this.triangles[at + 1], this.triangles[at + 2]]);
      }
      facet.ofRoom = facet.owner === data.facets[0].owner;
      if (facet.ofRoom) this.corners.push(...facet.corners);
      facet.middle = facet.corners.reduce((sum, corner) => plus(sum, corner, 1 / facet.corners.length), [0, 0, 0]);
    }
    this.bodies = new Map();
    for (const facet of data.facets.filter((one) => !one.ofRoom)) {
      const body = this.bodies.get(facet.owner) ?? { corners: [] };
      body.corners.push(...facet.corners);
      this.bodies.set(facet.owner, body);
    }
    for (const body of this.bodies.values()) {
      body.low = Math.min(...body.corners.map((corner) => corner[2]));
      body.high = Math.max(...body.corners.map((corner) => corner[2]));
      body.middle = body.corners.reduce((sum, corner) => plus(sum, corner, 1 / body.corners.length), [0, 0, 0]);
    }
    this.walls = data.facets.filter((facet) => facet.ofRoom && Math.abs(facet.normal[2]) < 0.5);
    const ends = decodeFloats(data.lines);
    this.edges = data.facets.map(() => []);
    data.lineFacets.forEach((facet, i) => {
      const at = 6 * i;
      this.edges[facet].push([[ends[at], ends[at + 1], ends[at + 2]], [ends[at + 3], ends[at + 4], ends[at + 5]]]);
    });
    this.edgeBuffers = this.edges.map((pieces) => this.line(pieces));
    this.panels = data.panels.map((panel) => this.box(panel.corners));
    this.headBox = this.line(this.headBoxEdges());
    this.drivers = data.speakers.map((speaker) => ({ buffer: makeBuffer(gl, speaker.drivers.flat()), count: speaker.drivers.length }));
    this.seats = makeBuffer(gl, data.seats.map((seat) => seat.at).flat());
    this.mapOf = new Map(data.maps.map((map) => [map.facet, map]));
    this.levels = null;
    this.ways = [];
  }

  line(pieces) { return { buffer: makeBuffer(this.gl, lineNumbers(pieces)), count: 6 * pieces.length }; }

  box(corners) {
    const numbers = [], pieces = [];
    for (const [a, b, c, d] of BOX_SIDES) {
      for (const corner of [a, b, c, a, c, d]) numbers.push(...corners[corner]);
      pieces.push([corners[a], corners[b]], [corners[b], corners[c]], [corners[c], corners[d]], [corners[d], corners[a]]);
    }
    const middle = corners.reduce((sum, corner) => plus(sum, corner, 1 / 8), [0, 0, 0]);
    const outward = unit(less(corners[4], corners[0]));
    return { corners, outward, buffer: makeBuffer(this.gl, numbers), count: 36, edges: this.line(pieces), middle };
  }

  headBoxEdges() {
    const ear = this.data.seats[0].at, half = this.data.headBox.map((size) => size / 2), pieces = [];
    for (let axis = 0; axis < 3; axis += 1) {
      for (const [u, v] of [[-1, -1], [-1, 1], [1, 1], [1, -1]]) {
        const signs = [0, 0, 0];
        signs[(axis + 1) % 3] = u; signs[(axis + 2) % 3] = v;
        const end = (sign) => ear.map((value, i) => value + half[i] * (i === axis ? sign : signs[i]));
        pieces.push([end(-1), end(1)]);
      }
    }
    return pieces;
  }

  // Give everything back to the graphics card; the picture is not drawn again.
  release() {
    const gl = this.gl;
    this.show([]);
    const lines = [...this.edgeBuffers, this.headBox, ...this.panels.map((panel) => panel.edges), ...this.drivers];
    for (const one of [...lines, ...this.panels]) gl.deleteBuffer(one.buffer);
    gl.deleteBuffer(this.surfaces);
    gl.deleteBuffer(this.seats);
    for (const map of this.data.maps) if (map.texture) gl.deleteTexture(map.texture);
  }

  async unpack() {
    this.levels = await decodeLevels(this.data.levels);
    return this.levels !== null;
  }

  // Hotspots of one octave and one choice of loudspeakers (0 all together) become one small picture a surface.
  choose(band, speaker) {
    if (!this.levels) return;
    const gl = this.gl, layers = this.data.speakers.length + 1;
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    for (const map of this.data.maps) {
      const [rows, cells] = map.shape, size = rows * cells;
      const from = map.at + (band * layers + speaker) * size;
      map.now = this.levels.subarray(from, from + size);
      map.texture = map.texture ?? gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, map.texture);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.LUMINANCE, cells, rows, 0, gl.LUMINANCE, gl.UNSIGNED_BYTE, map.now);
      for (const key of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, key, gl.CLAMP_TO_EDGE);
      for (const key of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, key, gl.LINEAR);
    }
  }

  // Ways of chosen arrivals, kept until others are chosen.
  show(arrivals) {
    for (const way of this.ways) { this.gl.deleteBuffer(way.line.buffer); this.gl.deleteBuffer(way.points); }
    this.ways = arrivals.map((arrival) => ({
      arrival,
      line: this.line(arrival.points.slice(1).map((point, i) => [arrival.points[i], point])),
      points: makeBuffer(this.gl, arrival.points.slice(1, -1).flat()),
      touched: arrival.points.length - 2,
    }));
  }

  // Walls toward the viewer are left out; so is furniture that hangs over heads or stands tall before such a wall.
  seen(number, state, position) {
    const facet = this.data.facets[number];
    if (state.hidden.has(`${facet.ofRoom ? "room" : "body"}:${facet.ofRoom ? facet.name : facet.owner}`)) return false;
    if (!state.auto) return true;
    if (facet.ofRoom) return dot(facet.normal, position) - facet.offset > 0;
    const body = this.bodies.get(facet.owner), above = this.data.seats[0].at[2] + OVERHEAD_M;
    if (facet.kind === "loudspeaker") return true;
    if (body.low > above && position[2] > body.low) return false;
    return !(body.high > above && this.walls.some((wall) => (
      dot(wall.normal, position) < wall.offset && dot(wall.normal, body.middle) - wall.offset < NEAR_WALL_M)));
  }

  draw(camera, state, size, density) {
    const gl = this.gl, shape = size[0] / size[1], matrix = viewMatrix(camera, shape);
    const { position } = cameraFrame(camera), px = density;
    gl.viewport(0, 0, size[0], size[1]);
    gl.clearColor(1, 1, 1, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST); gl.enable(gl.BLEND);
    gl.blendFuncSeparate(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA, gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    const shown = this.data.facets.map((_, number) => this.seen(number, state, position));
    this.flats(matrix, shown, state);
    this.begin(this.programs.line, matrix);
    gl.uniform2f(this.programs.line.pixels, size[0], size[1]);
    this.data.facets.forEach((facet, number) => {
      const hidden = state.hidden.has(`${facet.ofRoom ? "room" : "body"}:${facet.ofRoom ? facet.name : facet.owner}`);
      if (hidden) return;
      const dark = facet.kind === "loudspeaker" ? "#1c1b19" : "#6b665b";
      this.stroke(this.edgeBuffers[number], hexPaint(shown[number] ? dark : "#c4beb1"), (shown[number] ? 1.3 : 1) * px, 0, EDGE_LIFT);
    });
    if (state.box) this.stroke(this.headBox, hexPaint("#1c1b19"), 1 * px, 0.05, EDGE_LIFT);
    this.drawPanels(matrix, state, size, position, px);
    if (state.ways) this.drawWays(matrix, size, px);
    this.begin(this.programs.point, matrix);
    this.data.speakers.forEach((speaker, i) => {
      if (!state.hidden.has(`body:${speaker.body}`)) this.dots(this.drivers[i], hexPaint("#ffffff"), hexPaint(speaker.colour), 10 * px);
    });
    if (state.ear) this.dots({ buffer: this.seats, count: this.data.seats.length }, hexPaint("#ffffff"), hexPaint("#1c1b19"), 13 * px);
    return matrix;
  }

  begin(program, matrix) {
    this.gl.useProgram(program.program);
    this.gl.uniformMatrix4fv(program.view, false, matrix);
  }

  flats(matrix, shown, state) {
    const gl = this.gl, flat = this.programs.flat;
    this.begin(flat, matrix);
    useBuffer(gl, this.surfaces, [[flat.place, 3]]);
    gl.uniform1i(flat.levels, 0); gl.uniform1i(flat.classes, 1);
    gl.uniform4f(flat.scale, this.data.floor, this.data.stepsPerDb, this.report.lowest, this.report.step);
    gl.activeTexture(gl.TEXTURE1); gl.bindTexture(gl.TEXTURE_2D, this.programs.classes); gl.activeTexture(gl.TEXTURE0);
    this.data.facets.forEach((facet, number) => {
      if (!shown[number]) return;
      const map = state.hotspots ? this.mapOf.get(number) : undefined;
      const light = 0.955 + 0.045 * Math.abs(facet.normal[2]) - 0.05 * Math.abs(facet.normal[1]);
      gl.uniform4fv(flat.paint, hexPaint(PAINTS[facet.kind]).map((part, i) => (i < 3 ? part * light : 1)));
      gl.uniform1f(flat.mapped, map?.texture ? 1 : 0);
      gl.bindTexture(gl.TEXTURE_2D, map?.texture ?? this.programs.blank);
      const [along, across] = map ? map.cell : [[0, 0, 0, 0], [0, 0, 0, 0]];
      gl.uniform4fv(flat.across, across); gl.uniform4fv(flat.along, along);
      gl.uniform2f(flat.size, map ? map.shape[1] : 1, map ? map.shape[0] : 1);
      gl.drawArrays(gl.TRIANGLES, facet.start * 3, facet.count * 3);
    });
  }

  // Whether the viewer stands on the side of a panel that faces the room; others are drawn faintly.
  faces(panel, position) { return dot(panel.outward, less(position, panel.corners[4])) > 0; }

  drawPanels(matrix, state, size, position, px) {
    const gl = this.gl, flat = this.programs.flat, line = this.programs.line;
    const far = (i) => Math.hypot(...less(this.panels[i].middle, position));
    const order = this.panels.map((_, i) => i).filter((i) => !state.hidden.has(`panel:${this.data.panels[i].name}`));
    order.sort((a, b) => far(b) - far(a));
    for (const i of order) {
      const near = !state.auto || this.faces(this.panels[i], position);
      this.begin(flat, matrix);
      useBuffer(gl, this.panels[i].buffer, [[flat.place, 3]]);
      gl.uniform1f(flat.mapped, 0);
      gl.uniform4fv(flat.paint, hexPaint(PANEL_PAINT, near ? 0.55 : 0.1));
      gl.depthMask(false);
      gl.drawArrays(gl.TRIANGLES, 0, this.panels[i].count);
      gl.depthMask(true);
      this.begin(line, matrix);
      gl.uniform2f(line.pixels, size[0], size[1]);
      this.stroke(this.panels[i].edges, hexPaint(near ? "#2f4d3d" : "#9fb3a6"), 1.4 * px, 0, EDGE_LIFT);
    }
  }

  // Once faintly through everything, once in full where nothing is in the way.
  drawWays(matrix, size, px) {
    const gl = this.gl, line = this.programs.line, point = this.programs.point;
    for (const through of [true, false]) {
      if (through) gl.disable(gl.DEPTH_TEST); else gl.enable(gl.DEPTH_TEST);
      this.begin(line, matrix);
      gl.uniform2f(line.pixels, size[0], size[1]);
      for (const way of this.ways) {
        const speaker = this.data.speakers[way.arrival.speaker];
        const dash = speaker.dashes ? 0.14 : 0;
        if (!through) this.stroke(way.line, [1, 1, 1, 0.85], 5 * px, 0, 0.0008);
        this.stroke(way.line, hexPaint(speaker.colour, through ? 0.3 : 1), 2.6 * px, dash, 0.001);
      }
    }
    this.begin(point, matrix);
    gl.disable(gl.DEPTH_TEST); // a round point on a slanted surface would lose half of itself
    for (const way of this.ways) {
      const paint = hexPaint(this.data.speakers[way.arrival.speaker].colour);
      this.dots({ buffer: way.points, count: way.touched }, paint, [1, 1, 1, 1], 11 * px);
    }
    gl.enable(gl.DEPTH_TEST);
  }

  stroke(line, paint, width, dash, lift) {
    const gl = this.gl, program = this.programs.line;
    useBuffer(gl, line.buffer, [[program.place, 3], [program.other, 3], [program.side, 2], [program.walked, 1]]);
    gl.uniform4fv(program.paint, paint);
    gl.uniform1f(program.width, width); gl.uniform1f(program.dash, dash); gl.uniform1f(program.lift, lift);
    gl.drawArrays(gl.TRIANGLES, 0, line.count);
  }

  dots(points, paint, rim, width) {
    const gl = this.gl, program = this.programs.point;
    useBuffer(gl, points.buffer, [[program.place, 3]]);
    gl.uniform4fv(program.paint, paint); gl.uniform4fv(program.rim, rim);
    gl.uniform1f(program.width, width); gl.uniform1f(program.lift, 0.002);
    gl.drawArrays(gl.POINTS, 0, points.count);
  }

  // The nearest surface that is seen along a line of sight: facet, point, and level there (null outside all maps).
  meet(position, direction, state) {
    let nearest = Infinity, found = null;
    this.data.facets.forEach((facet, number) => {
      if (!this.seen(number, state, position)) return;
      for (let i = 0; i < facet.corners.length; i += 3) {
        const away = meetTriangle(position, direction, facet.corners[i], facet.corners[i + 1], facet.corners[i + 2]);
        if (away > 0 && away < nearest) { nearest = away; found = number; }
      }
    });
    if (found === null) return null;
    let panel = "";
    this.panels.forEach((one, i) => {
      if (state.hidden.has(`panel:${this.data.panels[i].name}`) || (state.auto && !this.faces(one, position))) return;
      for (const [a, b, c, d] of BOX_SIDES) {
        for (const corners of [[a, b, c], [a, c, d]]) {
          const away = meetTriangle(position, direction, ...corners.map((corner) => one.corners[corner]));
          if (away > 0 && away < nearest) { nearest = away; panel = this.data.panels[i].name; }
        }
      }
    });
    const point = plus(position, direction, nearest);
    return { name: panel || this.data.facets[found].name, point, level: panel ? null : this.levelAt(found, point) };
  }

  levelAt(number, point) {
    const map = this.mapOf.get(number);
    if (!map?.now) return null;
    const place = map.cell.map((row, i) => {
      const at = Math.round(row[0] * point[0] + row[1] * point[1] + row[2] * point[2] + row[3]);
      return Math.min(Math.max(at, 0), map.shape[i] - 1);
    });
    const byte = map.now[place[0] * map.shape[1] + place[1]];
    return byte === 0 ? -Infinity : this.data.floor + byte / this.data.stepsPerDb;
  }
}
