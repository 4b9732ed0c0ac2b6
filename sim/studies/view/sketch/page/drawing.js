// Plan and side section of the newest room that can be; corners are taken hold of by pointer, finger or arrow keys.
const SVG = "http://www.w3.org/2000/svg", REACH = 23, EDGE = 54;
const KEYS = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
const clean = (text) => String(text).replace(/[&<>"]/g, (letter) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[letter]);
const one = (value) => value.toFixed(1);

class Drawing {
  constructor(plan, side, link, page) {
    this.box = plan.querySelector(".flat"); this.svg = plan.querySelector("svg"); this.canvas = plan.querySelector("canvas");
    this.room = this.svg.querySelector(".room"); this.holds = this.svg.querySelector(".holds"); this.marks = this.svg.querySelector(".marks");
    this.sideBox = side.querySelector(".flat"); this.sideSvg = side.querySelector("svg");
    this.link = link; this.page = page; this.zoom = 1; this.shift = [0, 0]; this.elements = []; this.dragged = null;
    new ResizeObserver(() => this.redraw()).observe(this.box);
    new ResizeObserver(() => this.redraw()).observe(this.sideBox);
    this.svg.addEventListener("pointermove", (event) => this.drag(event));
    for (const kind of ["pointerup", "pointercancel"]) this.svg.addEventListener(kind, (event) => this.drop(event));
    this.svg.addEventListener("pointerdown", (event) => this.grasp(event));
    this.svg.addEventListener("wheel", (event) => { event.preventDefault(); this.nearer(event.deltaY < 0 ? 1.15 : 1 / 1.15); }, { passive: false });
  }

  draw(data) { this.data = data; this.redraw(); }

  redraw() {
    if (!this.data) return;
    if (!this.dragged) this.fit();
    this.drawPlan(); this.drawSide(); this.page.underlay?.draw();
  }

  // Where metres lie on the screen: x to the right is across, y down is depth.
  fit() {
    const size = [this.box.clientWidth, this.box.clientHeight], { corners } = this.data.drawing;
    const low = [0, 1].map((axis) => Math.min(...corners.map((corner) => corner[axis]))), high = [0, 1].map((axis) => Math.max(...corners.map((corner) => corner[axis])));
    const scale = this.zoom * Math.max(4, Math.min((size[0] - 2 * EDGE - 40) / (high[1] - low[1]), (size[1] - 2 * EDGE) / (high[0] - low[0])));
    this.size = size; this.scale = scale;
    this.left = 0.5 * size[0] - scale * (0.5 * (low[1] + high[1]) + this.shift[1]);
    this.top = 0.5 * size[1] - scale * (0.5 * (low[0] + high[0]) + this.shift[0]);
    this.svg.setAttribute("viewBox", `0 0 ${size[0]} ${size[1]}`);
  }

  at([front, left]) { return [this.left + this.scale * left, this.top + this.scale * front]; }

  metres([x, y]) { return [(y - this.top) / this.scale, (x - this.left) / this.scale]; }

  inside(event) { const box = this.svg.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; }

  path(points, closed = true) { return `M${points.map((point) => this.at(point).map(one).join(" ")).join("L")}${closed ? "Z" : ""}`; }

  nearer(times) { this.zoom = Math.min(Math.max(this.zoom * times, 1), 12); if (this.zoom === 1) this.shift = [0, 0]; this.redraw(); }

  whole() { this.zoom = 1; this.shift = [0, 0]; this.redraw(); }

  drawPlan() {
    const { corners, walls, lines, bodies, ears, seats, axes } = this.data.drawing, parts = [];
    parts.push(`<path class="floor" d="${this.path(corners)}"/>`);
    const inner = lines.filter((line) => !line.kind).flatMap((line) => line.ends.map(([a, b]) => this.path([a, b], false)));
    parts.push(`<path class="lines" d="${inner.join("")}"/>`);
    for (const body of bodies) parts.push(this.body(body, body.plan.map(([across, depth]) => [depth, across])));
    parts.push(`<path class="walls" d="${this.path(corners)}"/>`);
    for (const line of lines.filter((one) => one.kind)) {
      const d = line.ends.map(([a, b]) => this.path([a, b], false)).join("");
      parts.push(`<path class="opening ${line.kind.includes("door") ? "door" : ""}" d="${d}"><title>${clean(line.kind)}</title></path>`);
      if (line.kind === "window") parts.push(`<path class="pane" d="${d}"/>`);
    }
    ears.forEach((ear, n) => {
      const [x, y] = this.at(ear);
      parts.push(`<circle class="seat" cx="${one(x)}" cy="${one(y)}" r="9"/><text x="${one(x)}" y="${one(y + 4)}" text-anchor="middle">${n ? n + 1 : "E"}</text>`);
    });
    for (const axis of axes) { const [x, y] = this.at(axis.at); parts.push(`<text x="${one(x + 9)}" y="${one(y - 7)}">${clean(axis.name)}</text>`); }
    parts.push(this.wallWords(corners, walls), this.scaleBar());
    this.room.innerHTML = parts.join("");
    this.drawHolds(corners);
  }

  body(body, points) { return `<path class="body ${clean(body.kind)}" d="${this.path(points)}"><title>${clean(body.name)}</title></path>${["desk", "screen", "beam", "radiator"].includes(body.kind) ? this.bodyWord(body, points) : ""}`; }

  bodyWord(body, points) {
    const middle = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length), [x, y] = this.at(middle);
    const [, top] = this.at([Math.max(...points.map((point) => point[0])), 0]);
    return `<text class="soft" x="${one(x)}" y="${one(body.kind === "desk" ? top - 6 : y - 8)}" text-anchor="middle">${clean(body.name)}</text>`;
  }

  // Name and length of each wall, outside of it, turned along it where it stands upright.
  wallWords(corners, walls) {
    let area = 0;
    corners.forEach(([a, b], n) => { const [c, d] = corners[(n + 1) % corners.length]; area += a * d - c * b; });
    const sign = area > 0 ? 1 : -1;
    return walls.map((wall, n) => {
      const [x1, y1] = this.at(corners[n]), [x2, y2] = this.at(corners[(n + 1) % corners.length]);
      const long = Math.hypot(x2 - x1, y2 - y1);
      if (long < 12) return "";
      // Outward of a walk that turns left as seen from above (depth down, across to the right).
      const out = [-sign * (y2 - y1) / long, sign * (x2 - x1) / long], x = 0.5 * (x1 + x2) + 19 * out[0], y = 0.5 * (y1 + y2) + 19 * out[1];
      const turn = Math.abs(y2 - y1) > Math.abs(x2 - x1) ? ` transform="rotate(-90 ${one(x)} ${one(y)})"` : "";
      const words = `${wall.name}  ${wall.long}`;
      return `<text class="wall" x="${one(x)}" y="${one(y + 4)}" text-anchor="middle"${turn}>${clean(6.4 * words.length < long - 14 ? words : wall.long)}</text>`;
    }).join("");
  }

  scaleBar() {
    const inches = ["in", "ft"].includes(this.data.unit), [long, words] = inches ? [0.9144, "3 ft"] : [1, "1 m"], base = this.size[1] - 9;
    return `<path class="scale-bar" d="M10 ${base - 5}V${base}H${one(10 + long * this.scale)}V${base - 5}"/><text class="soft" x="${one(15 + long * this.scale)}" y="${base}">${words}</text>`;
  }

  drawHolds(corners) {
    while (this.elements.length > corners.length) this.elements.pop().remove();
    corners.forEach((corner, n) => {
      const element = this.elements[n] ?? this.hold(n), [x, y] = this.at(corner);
      element.setAttribute("transform", `translate(${one(x)} ${one(y)})`);
      const words = `corner ${n + 1}: ${this.page.words(corner[0])} from the front wall, ${this.page.words(corner[1])} from the left wall`;
      const free = this.free(n);
      element.classList.toggle("fixed", !free[0] && !free[1]);
      element.setAttribute("aria-label", words); element.setAttribute("aria-valuetext", words); element.setAttribute("aria-valuenow", corner[0]);
      element.querySelector("title").textContent = free[0] || free[1] ? words : `${words}. It stays: the tape begins here.`;
      element.querySelector("text").textContent = this.data.texts.shape === "outline" ? n + 1 : "";
    });
  }

  // Of a box or an L the front and the left wall stay: distances are told from there.
  free(n) { return this.data.texts.shape === "outline" ? [true, true] : this.data.drawing.corners[n].map((value) => Math.abs(value) > 1e-6); }

  hold(n) {
    const element = document.createElementNS(SVG, "g");
    element.setAttribute("class", "hold"); element.setAttribute("tabindex", "0"); element.setAttribute("role", "slider");
    element.dataset.corner = n;
    element.innerHTML = `<circle class="reach" r="${REACH}"/><circle class="dot" r="8"/><text x="12" y="-9"></text><title></title>`;
    element.addEventListener("pointerdown", (event) => this.take(event, n, element));
    element.addEventListener("focus", () => this.page.spot(element.getAttribute("aria-label")));
    element.addEventListener("keydown", (event) => this.press(event, n, element));
    element.addEventListener("keyup", () => this.letGo(element));
    element.addEventListener("blur", () => this.letGo(element));
    this.holds.append(element);
    this.elements.push(element);
    return element;
  }

  take(event, n, element) {
    if (this.dragged || event.button > 0 || this.page.underlay.mode) return;
    event.preventDefault(); event.stopPropagation();
    element.focus({ preventScroll: true });
    this.svg.setPointerCapture(event.pointerId);
    this.dragged = { pointer: event.pointerId, n, from: this.inside(event), start: [...this.data.drawing.corners[n]], moved: false };
  }

  grasp(event) {
    if (this.dragged || event.button > 0 || this.page.underlay.press(event, this.inside(event))) return;
    if (this.zoom > 1) { this.svg.setPointerCapture(event.pointerId); this.panned = { pointer: event.pointerId, from: this.inside(event), shift: [...this.shift] }; }
  }

  drag(event) {
    const point = this.inside(event);
    if (this.page.underlay.drag(event, point)) return;
    if (this.panned?.pointer === event.pointerId) {
      this.shift = [this.panned.shift[0] - (point[1] - this.panned.from[1]) / this.scale, this.panned.shift[1] - (point[0] - this.panned.from[0]) / this.scale];
      this.redraw();
      return;
    }
    const held = this.dragged;
    if (!held || held.pointer !== event.pointerId) return;
    const moved = [point[0] - held.from[0], point[1] - held.from[1]];
    if (!held.moved && Math.hypot(...moved) < 2) return;
    held.moved = true;
    this.send(held.n, [held.start[0] + moved[1] / this.scale, held.start[1] + moved[0] / this.scale], event.shiftKey);
  }

  drop(event) {
    this.page.underlay.drop(event);
    if (this.panned?.pointer === event.pointerId) this.panned = null;
    const held = this.dragged;
    if (!held || held.pointer !== event.pointerId) return;
    this.dragged = null;
    if (held.moved) this.link.release(); else this.redraw();
  }

  send(n, [front, left], fine, done = false) { this.link.move({ [`corner.${n}.front`]: front, [`corner.${n}.left`]: left }, { fine, done }); }

  press(event, n, element) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Insert") { event.preventDefault(); this.link.say({ kind: "split", number: n }); return; }
    if ((event.key === "Delete" || event.key === "Backspace") && this.data.texts.shape === "outline") { event.preventDefault(); this.link.say({ kind: "remove", what: "corners", number: n }); return; }
    const ten = event.key === "PageUp" || event.key === "PageDown", step = ten ? [event.key === "PageUp" ? -1 : 1, 0] : KEYS[event.key];
    if (!step) return;
    event.preventDefault(); event.stopPropagation();
    const size = this.data.steps[event.shiftKey ? 1 : 0] * (ten ? 10 : 1), from = element.wanted ?? this.data.drawing.corners[n];
    element.wanted = [from[0] + step[0] * size, from[1] + step[1] * size];
    this.send(n, element.wanted, event.shiftKey);
  }

  letGo(element) {
    if (!element.wanted) return;
    element.wanted = null;
    this.link.release();
  }

  drawSide() {
    const { lines, bodies, ears, height, corners, high } = this.data.drawing, size = [this.sideBox.clientWidth, this.sideBox.clientHeight];
    const low = Math.min(...corners.map((corner) => corner[0])), far = Math.max(...corners.map((corner) => corner[0]));
    const scale = Math.max(2, Math.min((size[0] - 60) / (far - low), (size[1] - 56) / height)), left = 0.5 * (size[0] - scale * (far - low)) + 12, base = 0.5 * (size[1] + scale * height) + 2;
    const at = ([depth, up]) => `${one(left + scale * (depth - low))} ${one(base - scale * up)}`, parts = [];
    const path = (points, closed) => `M${points.map(at).join("L")}${closed ? "Z" : ""}`;
    const flat = ([depth, , up]) => [depth, up];
    parts.push(`<path class="walls" d="${lines.filter((line) => !line.kind).flatMap((line) => line.ends.map((ends) => path(ends.map(flat)))).join("")}" style="stroke-width:1.3"/>`);
    for (const body of [...bodies].sort((a, b) => (b.kind === "loudspeaker") - (a.kind === "loudspeaker"))) parts.push(`<path class="body ${clean(body.kind)}" d="${path(body.side, true)}"/>`);
    for (const ear of ears) { const [x, y] = at(flat(ear)).split(" "); parts.push(`<circle class="seat" cx="${x}" cy="${y}" r="6"/>`); }
    const x = left - 9, y = base - 0.5 * scale * height;
    parts.push(`<text x="${one(x)}" y="${one(y)}" text-anchor="middle" transform="rotate(-90 ${one(x)} ${one(y)})">${clean(high)}</text>`);
    parts.push(`<text class="soft" x="${one(left)}" y="${one(base + 16)}">front wall</text>`);
    this.sideSvg.setAttribute("viewBox", `0 0 ${size[0]} ${size[1]}`);
    this.sideSvg.querySelector(".room").innerHTML = parts.join("");
  }
}
