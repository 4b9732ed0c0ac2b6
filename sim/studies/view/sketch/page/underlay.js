// A photo beneath the plan. It is read from the person's disk into a canvas of this page and goes nowhere from there:
// what is sent to the program are clicked corners in metres and the text of one distance.
const LARGEST_FILE = 60e6, LARGEST_SIDE = 3200, SQUARE_PX = 9;

class Underlay {
  constructor(drawing, link, page) {
    this.drawing = drawing; this.link = link; this.page = page; this.mode = ""; this.points = []; this.bitmap = null;
    this.angle = 0; this.opacity = 0.6; this.middle = [0, 0]; this.perPixel = 0.01; this.cursor = null;
    const by = (id) => document.getElementById(id);
    this.by = by;
    by("file").addEventListener("change", () => this.load(by("file").files[0]));
    by("opacity").addEventListener("input", () => { this.opacity = Number(by("opacity").value) / 100; this.draw(); });
    by("angle").addEventListener("input", () => { this.angle = Number(by("angle").value) || 0; this.draw(); });
    by("turn").addEventListener("click", () => { this.angle = (this.angle + 90) % 360; by("angle").value = this.angle; this.draw(); });
    by("photo-away").addEventListener("click", () => this.remove());
    for (const mode of ["trace", "scale", "move"]) by(mode).addEventListener("click", () => this.enter(this.mode === mode ? "" : mode));
    by("scale-set").addEventListener("click", () => this.askScale());
    by("distance").addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); this.askScale(); } });
    by("trace-done").addEventListener("click", () => this.finish());
    by("trace-back").addEventListener("click", () => { this.points.pop(); this.draw(); });
    by("trace-stop").addEventListener("click", () => this.enter(""));
    drawing.svg.addEventListener("keydown", (event) => this.key(event));
    this.tools();
  }

  async load(file) {
    if (!file) return;
    try {
      const head = new Uint8Array(await file.slice(0, 8).arrayBuffer());
      const png = [137, 80, 78, 71].every((byte, n) => head[n] === byte), jpeg = head[0] === 255 && head[1] === 216 && head[2] === 255;
      if (!png && !jpeg) throw new Error("it is neither PNG nor JPEG; choose a photo of one of these kinds");
      if (file.size > LARGEST_FILE) throw new Error("it is larger than 60 MB; make it smaller");
      let bitmap;
      try { bitmap = await createImageBitmap(file); } catch { throw new Error("it cannot be read as a picture; choose another, or save it again"); }
      const times = Math.min(1, LARGEST_SIDE / Math.max(bitmap.width, bitmap.height));
      if (times < 1) {
        const smaller = await createImageBitmap(bitmap, { resizeWidth: Math.round(bitmap.width * times), resizeHeight: Math.round(bitmap.height * times), resizeQuality: "high" });
        bitmap.close(); bitmap = smaller;
      }
      this.bitmap?.close();
      this.bitmap = bitmap;
    } catch (fault) {
      this.page.say(`${file.name}: ${fault.message}.`, true);
      return;
    } finally { this.by("file").value = ""; }
    // To begin with it fills the plan as the room does.
    const { corners } = this.drawing.data.drawing, span = (axis) => [Math.min(...corners.map((c) => c[axis])), Math.max(...corners.map((c) => c[axis]))];
    const [front, rear] = span(0), [left, right] = span(1);
    this.middle = [0.5 * (front + rear), 0.5 * (left + right)];
    this.perPixel = Math.max((rear - front) / this.bitmap.height, (right - left) / this.bitmap.width);
    this.angle = 0; this.by("angle").value = 0;
    this.page.say("The photo lies beneath the plan and stays in this browser. Set its scale: two points, and the distance between them.");
    this.tools(); this.draw();
  }

  remove() { this.bitmap?.close(); this.bitmap = null; this.enter(""); this.page.say("The photo is gone from this page."); }

  tools() {
    for (const one of document.querySelectorAll(".with-photo")) one.hidden = !this.bitmap;
    for (const mode of ["trace", "scale", "move"]) this.by(mode).setAttribute("aria-pressed", String(this.mode === mode));
    this.by("scale-row").hidden = this.mode !== "scale" || this.points.length < 2;
    this.by("trace-row").hidden = this.mode !== "trace";
    this.by("trace-done").disabled = this.points.length < 3;
    this.drawing.svg.classList.toggle("aiming", this.mode === "trace" || this.mode === "scale");
    this.drawing.svg.classList.toggle("over-photo", Boolean(this.bitmap));
    this.drawing.svg.classList.toggle("moving", this.mode === "move");
  }

  enter(mode) {
    this.mode = mode; this.points = []; this.cursor = null; this.by("distance-fault").textContent = "";
    const words = { trace: "Click the corners of the floor, once round; near a right angle they lie square (with Alt they do not). The first corner again, or Make the outline, ends it.", scale: "Click two points of the photo whose distance you know, then type it.", move: "Drag the photo, or move it by arrows." }[mode];
    if (words) this.page.say(words);
    this.draw();
    if (mode) this.drawing.svg.focus({ preventScroll: true });
  }

  // Pixels of the photo, and metres of the plan.
  toPhoto([front, left]) {
    const turn = -this.angle * Math.PI / 180, x = (left - this.middle[1]) / this.perPixel, y = (front - this.middle[0]) / this.perPixel;
    return [x * Math.cos(turn) - y * Math.sin(turn), x * Math.sin(turn) + y * Math.cos(turn)];
  }

  toMetres([x, y]) {
    const turn = this.angle * Math.PI / 180;
    return [this.middle[0] + this.perPixel * (x * Math.sin(turn) + y * Math.cos(turn)), this.middle[1] + this.perPixel * (x * Math.cos(turn) - y * Math.sin(turn))];
  }

  press(event, point) {
    if (!this.mode) return false;
    event.preventDefault();
    this.drawing.svg.focus({ preventScroll: true });
    if (this.mode === "move") {
      this.drawing.svg.setPointerCapture(event.pointerId);
      this.held = { pointer: event.pointerId, from: this.drawing.metres(point), middle: [...this.middle] };
    } else this.add(this.drawing.metres(point), event.altKey);
    return true;
  }

  drag(event, point) {
    if (!this.mode) return false;
    if (this.mode === "move" && this.held?.pointer === event.pointerId) {
      const to = this.drawing.metres(point);
      this.middle = [0, 1].map((axis) => this.held.middle[axis] + to[axis] - this.held.from[axis]);
      this.draw();
    } else if (this.mode !== "move" && event.pointerType === "mouse") { this.cursor = this.square(this.drawing.metres(point), event.altKey); this.draw(); }
    return true;
  }

  drop(event) { if (this.held?.pointer === event.pointerId) this.held = null; }

  key(event) {
    if (event.target !== this.drawing.svg || event.ctrlKey || event.metaKey) return;
    const step = KEYS[event.key], drawing = this.drawing;
    if (!this.mode) {
      if (step) { event.preventDefault(); drawing.shift = drawing.shift.map((value, axis) => value + 0.25 * step[axis]); drawing.redraw(); }
      return;
    }
    const size = (event.shiftKey ? 1 : 8) / drawing.scale;
    if (step && this.mode === "move") this.middle = this.middle.map((value, axis) => value + size * step[axis]);
    else if (step) { this.cursor ??= drawing.metres([0.5 * drawing.size[0], 0.5 * drawing.size[1]]); this.cursor = this.cursor.map((value, axis) => value + size * step[axis]); }
    else if ((event.key === "Enter" || event.key === " ") && this.cursor) this.add(this.cursor, event.altKey);
    else if (event.key === "Backspace") this.points.pop();
    else if (event.key === "Escape") { this.enter(""); return; }
    else return;
    event.preventDefault(); event.stopPropagation();
    this.draw();
  }

  // Near a line straight on or square from the corner before (or the first one), a corner lies on it.
  square(point, off) {
    if (this.mode !== "trace" || off || !this.points.length) return point;
    const near = [...point];
    for (const known of [this.toMetres(this.points[0]), this.toMetres(this.points.at(-1))]) {
      for (const axis of [0, 1]) if (Math.abs(known[axis] - point[axis]) * this.drawing.scale < SQUARE_PX) near[axis] = known[axis];
    }
    return near;
  }

  add(metres, off) {
    if (this.mode === "scale") {
      if (this.points.length === 2) this.points = [];
      this.points.push(this.toPhoto(metres));
      this.draw();
      if (this.points.length === 2) { this.by("distance").focus(); this.by("distance").select(); }
      return;
    }
    const [x, y] = this.drawing.at(metres);
    if (this.points.length > 2) {
      const [a, b] = this.drawing.at(this.toMetres(this.points[0]));
      if (Math.hypot(a - x, b - y) < REACH * 0.6) { this.finish(); return; }
    }
    this.points.push(this.toPhoto(this.square(metres, off)));
    this.draw();
  }

  askScale() {
    if (this.points.length === 2) this.link.say({ kind: "length", text: this.by("distance").value, of: this.link.page });
  }

  // The distance came back in metres: the photo grows or shrinks about its first point.
  setScale(message) {
    if (message.of !== this.link.page || this.points.length !== 2) return;
    this.by("distance-fault").textContent = message.fault ?? "";
    if (!message.metres) return;
    const [a, b] = this.points.map((point) => this.toMetres(point)), now = Math.hypot(a[0] - b[0], a[1] - b[1]);
    if (now < 1e-6) { this.by("distance-fault").textContent = "Both points are the same; click two that are far apart."; return; }
    const times = message.metres / now;
    if (this.by("level").checked) {
      // Toward the nearer of level and upright, about the first point.
      const slant = Math.atan2(b[0] - a[0], b[1] - a[1]) * 180 / Math.PI, by = Math.round(slant / 90) * 90 - slant, turn = by * Math.PI / 180;
      const [down, across] = [this.middle[0] - a[0], this.middle[1] - a[1]];
      this.middle = [a[0] + across * Math.sin(turn) + down * Math.cos(turn), a[1] + across * Math.cos(turn) - down * Math.sin(turn)];
      this.angle = Math.round((this.angle + by) * 100) / 100;
      this.by("angle").value = this.angle;
    }
    this.perPixel *= times;
    this.middle = this.middle.map((value, axis) => a[axis] + times * (value - a[axis]));
    this.page.say("The scale is set. Click the corners of the floor over the photo, or move the photo under the room.");
    this.enterQuietly();
  }

  enterQuietly() { this.mode = ""; this.points = []; this.cursor = null; this.draw(); this.by("trace").focus(); }

  // The outline begins at the front and left walls; the photo goes along.
  finish() {
    if (this.points.length < 3) return;
    const corners = this.points.map((point) => this.toMetres(point)), least = [0, 1].map((axis) => Math.min(...corners.map((corner) => corner[axis])));
    this.middle = this.middle.map((value, axis) => value - least[axis]);
    this.link.say({ kind: "trace", corners: corners.map((corner) => corner.map((value, axis) => Number((value - least[axis]).toFixed(5)))) });
    this.mode = ""; this.points = []; this.cursor = null;
    this.page.say("The outline is made of the clicked corners, in steps of the tape. Correct each length in the form.");
    this.draw();
  }

  draw() {
    this.tools();
    const { canvas, size, scale } = this.drawing;
    if (!size) return;
    const density = window.devicePixelRatio || 1, context = canvas.getContext("2d");
    canvas.width = Math.round(size[0] * density); canvas.height = Math.round(size[1] * density);
    if (this.bitmap) {
      const [x, y] = this.drawing.at(this.middle), times = density * scale * this.perPixel, turn = this.angle * Math.PI / 180;
      context.globalAlpha = this.opacity;
      context.setTransform(times * Math.cos(turn), times * Math.sin(turn), -times * Math.sin(turn), times * Math.cos(turn), density * x, density * y);
      context.drawImage(this.bitmap, -0.5 * this.bitmap.width, -0.5 * this.bitmap.height);
    }
    this.drawMarks();
  }

  drawMarks() {
    const drawing = this.drawing, points = this.points.map((point) => this.toMetres(point)), parts = [];
    const line = [...points, ...(this.mode === "trace" && this.cursor ? [this.cursor] : [])];
    if (line.length > 1) { const d = drawing.path(line, false); parts.push(`<path class="aim-line" d="${d}"/><path class="aim-line top" d="${d}"/>`); }
    points.forEach((point, n) => {
      const [x, y] = drawing.at(point);
      parts.push(`<path class="aim" d="M${one(x - 9)} ${one(y)}H${one(x + 9)}M${one(x)} ${one(y - 9)}V${one(y + 9)}"/><circle class="aim" cx="${one(x)}" cy="${one(y)}" r="6"/><text x="${one(x + 9)}" y="${one(y - 8)}">${n + 1}</text>`);
    });
    if (this.cursor && this.mode) { const [x, y] = drawing.at(this.cursor); parts.push(`<path class="aim" d="M${one(x - 16)} ${one(y)}H${one(x + 16)}M${one(x)} ${one(y - 16)}V${one(y + 16)}"/>`); }
    drawing.marks.innerHTML = parts.join("");
  }
}
