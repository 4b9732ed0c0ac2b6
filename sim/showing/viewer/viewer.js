// The picture that turns: canvas, camera, and what mouse, fingers and keys do to it. Drawn only when something changed.
const OPENING = 24 * Math.PI / 180;
const VIEWS = {
  start: [-0.52, 0.62], seat: [0, 0.22], above: [0, Math.PI / 2], left: [-Math.PI / 2, 0.3], right: [Math.PI / 2, 0.3],
  below: [-0.4, -0.75],
};
const STEP = Math.PI / 36;

class Viewer {
  constructor(canvas, names, report, pictures, tell) {
    this.canvas = canvas; this.names = names; this.report = report; this.pictures = pictures; this.tell = tell;
    this.state = { auto: true, hotspots: true, ways: true, ear: true, box: true, names: true, hidden: new Set() };
    this.layout = 0;
    this.waiting = false;
    this.density = 2; // twice the pixels of a plain screen, so that thin lines come out even there
    this.camera = { turn: 0, rise: 0, away: 1, reach: 1, middle: [0, 0, 0], opening: OPENING };
    this.fingers = new Map();
    this.listen();
  }

  get picture() { return this.pictures[this.layout]; }

  look(view) {
    const corners = this.picture.corners;
    const low = [0, 1, 2].map((i) => Math.min(...corners.map((corner) => corner[i])));
    const high = [0, 1, 2].map((i) => Math.max(...corners.map((corner) => corner[i])));
    this.camera.middle = low.map((value, i) => 0.5 * (value + high[i]));
    this.camera.reach = this.picture.reach ?? Math.hypot(...less(high, low));
    [this.camera.turn, this.camera.rise] = VIEWS[view];
    stepBack(this.camera, corners, this.shape());
    this.fitted = this.camera.away;
    this.ask();
  }

  shape() { return Math.max(this.canvas.clientWidth, 1) / Math.max(this.canvas.clientHeight, 1); }

  turn(across, upward) {
    this.camera.turn += across;
    this.camera.rise = Math.min(Math.max(this.camera.rise + upward, -Math.PI / 2), Math.PI / 2);
    this.ask();
  }

  nearer(share) {
    this.camera.away = Math.min(Math.max(this.camera.away / share, 0.25 * this.fitted), 3 * this.fitted);
    this.ask();
  }

  // Draw before the next frame, once, however often it is asked for.
  ask() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.draw(); });
  }

  draw() {
    const density = this.density;
    const size = [this.canvas.clientWidth, this.canvas.clientHeight].map((side) => Math.max(1, Math.round(side * density)));
    if (this.canvas.width !== size[0] || this.canvas.height !== size[1]) [this.canvas.width, this.canvas.height] = size;
    const matrix = this.picture.draw(this.camera, this.state, size, density);
    this.write(matrix);
  }

  // Names lie over the canvas as text, in front of nothing but the picture.
  write(matrix) {
    const width = this.canvas.clientWidth, height = this.canvas.clientHeight;
    const { position } = cameraFrame(this.camera);
    const labels = [];
    const data = this.picture.data;
    if (this.state.names) {
      for (const speaker of data.speakers) labels.push([speaker.letter, speaker.drivers[0], "", speaker.colour, -20]);
      if (this.state.ear) for (const seat of data.seats) labels.push([seat.name, seat.at, "", "", -20]);
      data.panels.forEach((panel, i) => {
        const box = this.picture.panels[i], plain = this.state.auto && !this.picture.faces(box, position);
        if (!this.state.hidden.has(`panel:${panel.name}`)) labels.push([panel.name, box.middle, plain ? "wall" : "", "", 0]);
      });
      data.facets.forEach((facet, number) => {
        const flat = Math.abs(facet.normal[2]) < 0.5;
        if (facet.ofRoom && flat && this.picture.seen(number, this.state, position)) {
          const high = Math.max(...facet.corners.map((corner) => corner[2]));
          const big = facet.corners.length && Math.max(...facet.corners.map((c) => Math.hypot(...less(c, facet.middle)))) > 0.9;
          if (big) labels.push([facet.name, [facet.middle[0], facet.middle[1], high], "wall", "", 14]);
        }
      });
    }
    while (this.names.children.length < labels.length) this.names.append(document.createElement("span"));
    [...this.names.children].forEach((element, i) => {
      const label = labels[i], at = label && onScreen(matrix, label[1], width, height);
      element.hidden = !at || at[0] < 0 || at[0] > width;
      if (element.hidden) return;
      element.textContent = label[0];
      element.className = label[2];
      element.style.color = label[3];
      element.style.fontWeight = label[3] ? "700" : "";
      const half = 3.2 * label[0].length + 4, inside = Math.max(half, Math.min(at[0], width - half)); // no name is cut off at the side
      element.style.transform = `translate(${inside.toFixed(1)}px, ${(at[1] + label[4]).toFixed(1)}px) translate(-50%, -50%)`;
    });
  }

  // Where in the canvas a point of the room appears.
  where(point) {
    return onScreen(viewMatrix(this.camera, this.shape()), point, this.canvas.clientWidth, this.canvas.clientHeight);
  }

  // What is under a place of the canvas; without one, under its middle.
  under(x = 0.5 * this.canvas.clientWidth, y = 0.5 * this.canvas.clientHeight) {
    const across = 2 * x / this.canvas.clientWidth - 1, upward = 1 - 2 * y / this.canvas.clientHeight;
    const direction = sightThrough(this.camera, this.shape(), across, upward);
    return this.picture.meet(cameraFrame(this.camera).position, direction, this.state);
  }

  // Say what is there.
  read(x, y) { this.tell(this.under(x, y)); }

  listen() {
    const canvas = this.canvas;
    canvas.addEventListener("pointerdown", (event) => {
      canvas.focus({ preventScroll: true });
      canvas.setPointerCapture(event.pointerId);
      this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = this.fingers.get(event.pointerId);
      if (before) this.drag(event, before);
      if (!before || this.fingers.size === 1) this.read(event.offsetX, event.offsetY);
    });
    for (const kind of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(kind, (event) => this.fingers.delete(event.pointerId));
    }
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas && !event.ctrlKey) return;
      event.preventDefault();
      this.nearer(Math.exp(-0.0015 * event.deltaY));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      if (!event.altKey && !event.metaKey && !event.ctrlKey && this.press(event.key)) {
        event.preventDefault();
        this.read();
      }
    });
    canvas.addEventListener("webglcontextlost", (event) => { event.preventDefault(); document.dispatchEvent(new Event("picture-lost")); });
    new ResizeObserver(() => this.ask()).observe(canvas);
  }

  drag(event, before) {
    const others = [...this.fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    const now = [event.clientX, event.clientY];
    this.fingers.set(event.pointerId, now);
    if (others.length === 0) {
      this.turn(-0.008 * (now[0] - before[0]), 0.008 * (now[1] - before[1]));
    } else {
      const apart = (at) => Math.hypot(at[0] - others[0][0], at[1] - others[0][1]) || 1;
      this.nearer(apart(now) / apart(before));
    }
  }

  press(key) {
    if (key === "ArrowLeft") this.turn(-STEP, 0);
    else if (key === "ArrowRight") this.turn(STEP, 0);
    else if (key === "ArrowUp") this.turn(0, STEP);
    else if (key === "ArrowDown") this.turn(0, -STEP);
    else if (key === "+" || key === "=") this.nearer(1.15);
    else if (key === "-" || key === "_") this.nearer(1 / 1.15);
    else if (key === "Home") this.look("start");
    else return false;
    return true;
  }
}
