// Plan and side section: the room drawn flat under the map, the paths over it. Points are (depth, across, up) in metres.
const FLAT_PAINTS = { furniture: "#ebe4d6", loudspeaker: "#55524d", panel: "#a9bfb0", window: "#9dbdd3", door: "#cbb189" };
const LOOKS = {
  plan: { across: 1, down: 0, turned: 1, view: [0, 0, 1], deep: 2, name: "Plan", from: "above" },
  side: { across: 0, down: 2, turned: -1, view: [0, -1, 0], deep: 1, name: "Side section", from: "the left" },
};
const AROUND_M = 0.42, MARGIN_PX = 20;

class Plane {
  constructor(box, kind) {
    this.kind = kind; this.look = LOOKS[kind]; this.box = box;
    this.under = box.querySelector(".under"); this.canvas = box.querySelector("canvas"); this.over = box.querySelector(".over");
    this.whole = false;
    this.holds = this.over.querySelector(".holds");
    this.size = [1, 1];
    new ResizeObserver(() => { this.fitted = null; this.onsize?.(); }).observe(box.querySelector(".flat"));
  }

  // The part of the room that is shown: all of it, or what can be moved in its front with a little around.
  fit(scene) {
    const flat = this.box.querySelector(".flat"), size = [flat.clientWidth, flat.clientHeight];
    const key = `${size}${this.whole}${scene.key}`;
    if (this.fitted === key) return;
    this.fitted = key; this.size = size;
    const { across, down } = this.look, [low, high] = this.whole ? [scene.low, scene.high] : scene.near;
    const spans = [high[across] - low[across], high[down] - low[down]];
    this.scale = Math.max(10, Math.min((size[0] - 2 * MARGIN_PX) / spans[0], (size[1] - 2 * MARGIN_PX) / spans[1]));
    this.low = low; this.high = high;
    this.left = 0.5 * (size[0] - this.scale * spans[0]);
    this.top = 0.5 * (size[1] - this.scale * spans[1]);
    for (const svg of [this.under, this.over]) svg.setAttribute("viewBox", `0 0 ${size[0]} ${size[1]}`);
    const density = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(size[0] * density); this.canvas.height = Math.round(size[1] * density);
  }

  at(point) {
    const { across, down, turned } = this.look;
    const x = this.left + this.scale * (point[across] - this.low[across]);
    const y = turned > 0 ? this.top + this.scale * (point[down] - this.low[down]) : this.top + this.scale * (this.high[down] - point[down]);
    return [x, y];
  }

  // Metres along (across, down) of the plane for a step in pixels.
  metres(dx, dy) { return [dx / this.scale, this.look.turned * dy / this.scale]; }

  path(points, closed = false) { return `M${points.map((point) => this.at(point).map((value) => value.toFixed(1)).join(" ")).join("L")}${closed ? "Z" : ""}`; }

  draw(scene, frame, shown) {
    this.fit(scene);
    this.drawRoom(scene, shown);
    this.drawMaps(scene, frame, shown);
    this.drawPaths(scene, frame, shown);
  }

  drawRoom(scene, shown) {
    const parts = [], roomLines = [];
    for (const facet of scene.facets) if (facet.ofRoom) roomLines.push(...facet.lines.map(([a, b]) => this.path([a, b])));
    parts.push(`<path class="walls" d="${roomLines.join("")}"/>`);
    for (const facet of scene.facets) {
      if (facet.ofRoom && (facet.kind === "window" || facet.kind === "door")) {
        parts.push(`<path class="opening" stroke="${FLAT_PAINTS[facet.kind]}" d="${facet.lines.map((line) => this.path(line)).join("")}"/>`);
      }
    }
    const order = scene.bodies.filter((body) => !shown.hidden(body)).sort((a, b) => this.height(a) - this.height(b));
    for (const body of order) parts.push(this.bodyMarkup(body, shown));
    this.under.innerHTML = parts.join("");
  }

  height(body) { return this.kind === "plan" ? body.high[2] : -body.low[1]; }

  bodyMarkup(body, shown) {
    const facing = body.facets.filter((facet) => dot(facet.normal, this.look.view) > 0.02);
    const fills = facing.flatMap((facet) => facet.triangles.map((triangle) => this.path(triangle, true)));
    const lines = facing.flatMap((facet) => facet.lines.map((line) => this.path(line)));
    const paint = FLAT_PAINTS[body.kind] ?? FLAT_PAINTS.furniture;
    const chosen = shown.selected?.body === body.name ? " chosen" : "", refused = shown.refused.has(body.name) ? " in-the-way" : "";
    return `<path d="${fills.join("")}" fill="${paint}" stroke="${paint}" stroke-width=".7"${body.kind === "panel" ? ' opacity=".45"' : ""}/><path class="edges${chosen}${refused}" d="${lines.join("")}"/>`;
  }

  // Maps of tops, in the plan alone: each cell a parallelogram of its own, never blurred.
  drawMaps(scene, frame, shown) {
    const context = this.canvas.getContext("2d"), density = this.canvas.width / Math.max(this.size[0], 1);
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, this.canvas.width, this.canvas.height);
    if (this.kind !== "plan") return;
    context.imageSmoothingEnabled = false;
    frame.maps.forEach((map, number) => {
      const facet = scene.facets[map.facet];
      if (!facet || facet.ofRoom || facet.normal[2] < 0.3) return;
      const [rows, cells] = map.shape, levels = frame.arrays[`map${number}`].values, known = frame.arrays[`map${number}known`].values;
      const small = document.createElement("canvas");
      small.width = cells; small.height = rows;
      const pixels = new ImageData(cells, rows), from = shown.speaker * rows * cells;
      for (let i = 0; i < rows * cells; i += 1) {
        const byte = levels[from + i], level = shown.floor + byte / shown.stepsPerDb;
        const place = Math.floor((level - shown.lowest) / shown.step);
        if (!byte || place < 0 || !(known[i >> 3] & (128 >> (i & 7)))) continue;
        const [r, g, b] = shown.classes[Math.min(place, shown.classes.length - 1)];
        pixels.data.set([r, g, b, 255], 4 * i);
      }
      small.getContext("2d").putImageData(pixels, 0, 0);
      const corner = map.start.map((value, i) => value - 0.5 * map.row[i] - 0.5 * map.column[i]);
      const [x, y] = this.at(corner), [cx, cy] = this.at(plus(corner, map.column)), [rx, ry] = this.at(plus(corner, map.row));
      context.setTransform(density * (cx - x), density * (cy - y), density * (rx - x), density * (ry - y), density * x, density * y);
      context.drawImage(small, 0, 0);
    });
  }

  // Where a mark of some 18 by 12 pixels lies beside a point: on no other mark, and under no hold where that can be.
  freePlace([px, py], marks, held) {
    const places = [[7, -6], [-25, -6], [7, 16], [-25, 16], [7, 28], [-25, 28], [-9, -20], [-9, 40]].map(([dx, dy]) => [Math.min(Math.max(px + dx, 2), this.size[0] - 22), Math.min(Math.max(py + dy, 12), this.size[1] - 4)]);
    const clear = ([x, y]) => !marks.some(([a, b]) => Math.abs(a - x) < 20 && Math.abs(b - y) < 12);
    const open = ([x, y]) => !held.some(([a, b]) => Math.abs(a - x - 9) < 22 && Math.abs(b - y + 5) < 17);
    return places.find((place) => clear(place) && open(place)) ?? places.find(clear) ?? places[0];
  }

  drawPaths(scene, frame, shown) {
    const parts = [];
    const drawn = this.kind === "side" ? shown.sidePaths : shown.paths;
    for (const one of drawn) {
      const speaker = scene.speakers[one.speaker], old = one.fresh === "old";
      const dash = old ? "1 4" : speaker.dashes;
      parts.push(`<path class="casing" d="${this.path(one.points)}"/>`);
      parts.push(`<path class="way" d="${this.path(one.points)}" stroke="${speaker.colour}" stroke-dasharray="${dash}"${old ? ' stroke-linecap="round"' : ""}/>`);
      one.points.slice(1, -1).forEach((point) => {
        const [x, y] = this.at(point);
        parts.push(`<circle cx="${x.toFixed(1)}" cy="${y.toFixed(1)}" r="4.5" fill="${speaker.colour}" stroke="#fff" stroke-width="1.2"/>`);
      });
    }
    const marks = [], held = holdsOf(this, frame.handles).map((hold) => this.at(hold.point));
    for (const one of drawn) {
      if (one.points.length < 3) continue;
      const [x, y] = this.freePlace(this.at(one.points[1]), marks, held);
      marks.push([x, y]);
      parts.push(`<text class="mark" x="${x.toFixed(1)}" y="${y.toFixed(1)}" style="fill:${scene.speakers[one.speaker].colour}">${one.mark}</text>`);
    }
    const scaleBar = shown.inches ? [0.3048, "1 ft"] : [0.5, "0.5 m"], long = scaleBar[0] * this.scale, base = this.size[1] - 7;
    parts.push(`<path class="scale-bar" d="M8 ${base - 4}V${base}H${(8 + long).toFixed(1)}V${base - 4}"/><text class="note" x="${(12 + long).toFixed(1)}" y="${base}">${scaleBar[1]}</text>`);
    const front = !this.whole && scene.near[0][0] > scene.low[0] + 0.05 ? "" : this.kind === "plan" ? `<text class="note" x="${0.5 * this.size[0]}" y="14" text-anchor="middle">front wall</text>` : `<text class="note" x="${this.size[0] - 8}" y="${base}" text-anchor="end">front wall on the left</text>`;
    this.over.querySelector(".ways").innerHTML = parts.join("") + front;
  }
}
