// What can be taken hold of in plan and section: by pointer, by finger, by arrow keys. Each hold moves numbers of one thing.
const KNOB_M = 0.3, REACH_PX = 22, ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const degrees = (radians) => radians * 180 / Math.PI;

// All holds of a plane: { id, thing, words, point, values(metres), fields, shape }.
function holdsOf(plane, things) {
  const { across, down } = plane.look, holds = [];
  for (const thing of things) {
    const along = (axis) => thing.fields.find((field) => field.along === axis);
    const first = along(across), second = along(down);
    if (first || second) {
      holds.push({ id: `${thing.name}|place`, thing, kind: thing.kind, words: `${thing.name}: move`, point: thing.at, pair: [first, second] });
    }
    const by = (key) => thing.fields.find((field) => field.key === key);
    if (thing.kind === "loudspeaker") {
      const knob = plus(thing.at, thing.axis, KNOB_M);
      const angle = plane.kind === "plan" ? by("toe_in") : by("tilt");
      if (angle) holds.push({ id: `${thing.name}|${angle.key}`, thing, kind: "knob", words: `${thing.name}: ${angle.words}`, point: knob, angle });
    }
    if (thing.kind === "desk") {
      const middle = [0, 1, 2].map((i) => 0.5 * (thing.low[i] + thing.high[i]));
      const top = thing.high[2];
      for (const [key, depth] of [["far_edge", thing.low[0]], ["listener_edge", thing.high[0]]]) {
        const field = by(key);
        if (!field) continue;
        const point = plane.kind === "plan" ? [depth, middle[1], top] : [depth, middle[1], top];
        holds.push({ id: `${thing.name}|${key}`, thing, kind: "edge", words: `${thing.name}: ${field.words}`, point, pair: plane.kind === "plan" ? [null, field] : [field, null] });
      }
    }
  }
  return holds;
}

const less2 = (a, b) => [a[0] - b[0], a[1] - b[1]];

function angleAt(plane, hold, point) {
  const thing = hold.thing, from = less(point, thing.at);
  if (plane.kind === "plan") return degrees(Math.atan2(from[1] * (thing.inward || 1), from[0]));
  return degrees(Math.atan2(-from[2], Math.max(Math.abs(from[0]), 0.01) / Math.max(Math.hypot(thing.axis[0], 0), 0.2) * Math.hypot(thing.axis[0], thing.axis[1])));
}

class Holds {
  constructor(plane, link, view) {
    this.plane = plane; this.link = link; this.view = view;
    this.elements = new Map(); this.dragged = null;
    const over = plane.over;
    over.addEventListener("pointermove", (event) => this.drag(event));
    for (const kind of ["pointerup", "pointercancel", "lostpointercapture"]) over.addEventListener(kind, (event) => this.drop(event));
  }

  update(things) {
    const holds = holdsOf(this.plane, this.apart(things)), seen = new Set();
    for (const hold of holds) {
      seen.add(hold.id);
      let element = this.elements.get(hold.id);
      if (!element) {
        element = this.make(hold);
        this.elements.set(hold.id, element);
        this.plane.holds.append(element);
      }
      element.hold = hold;
      this.place(element, hold);
    }
    for (const [id, element] of this.elements) if (!seen.has(id)) { element.remove(); this.elements.delete(id); }
  }

  // Of monitors that lie over each other in this view the one that is chosen, or the first.
  apart(things) {
    const monitors = things.filter((thing) => thing.kind === "loudspeaker");
    const first = monitors.find((thing) => thing.name === this.view.selected) ?? monitors[0];
    const over = (thing) => thing !== first && Math.hypot(...less2(this.plane.at(thing.at), this.plane.at(first.at))) < 2 * REACH_PX;
    return things.filter((thing) => thing.kind !== "loudspeaker" || !over(thing) || thing === this.dragged?.element.hold.thing);
  }

  make(hold) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", "g");
    element.setAttribute("class", `hold ${hold.kind}`);
    element.setAttribute("tabindex", "0");
    element.setAttribute("role", "slider");
    element.dataset.hold = hold.id;
    const shape = {
      loudspeaker: '<circle r="11"/><text y="4" text-anchor="middle"></text>',
      ear: '<circle r="11"/><text y="4" text-anchor="middle">E</text>',
      knob: '<path class="stem"/><path class="tip" d="M11 0L-7 8V-8Z"/>',
      edge: '<rect x="-15" y="-5" width="30" height="10" rx="5"/>',
    }[hold.kind] ?? '<rect x="-7" y="-7" width="14" height="14" rx="2"/>';
    element.innerHTML = `<circle class="reach" r="${REACH_PX}"/>${shape}<title></title>`;
    element.addEventListener("pointerdown", (event) => this.take(event, element));
    element.addEventListener("focus", () => this.view.select(element.hold.thing.name));
    element.addEventListener("keydown", (event) => this.press(event, element));
    element.addEventListener("keyup", () => this.letGo(element));
    element.addEventListener("blur", () => this.letGo(element));
    return element;
  }

  place(element, hold) {
    const [x, y] = this.plane.at(hold.point);
    element.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
    const fields = hold.angle ? [hold.angle] : hold.pair.filter(Boolean);
    const told = fields.map((field) => `${field.words} ${this.view.fieldWords(field)}`).join(", ");
    element.setAttribute("aria-label", hold.words);
    element.setAttribute("aria-valuetext", told);
    element.setAttribute("aria-valuenow", String(fields[0]?.value ?? 0));
    element.querySelector("title").textContent = `${hold.words} (${told})`;
    element.classList.toggle("chosen", this.view.selected === hold.thing.name);
    if (hold.kind === "loudspeaker") element.querySelector("text").textContent = this.view.letterOf(hold.thing.name);
    if (hold.kind === "edge" && this.plane.kind === "side") element.querySelector("rect:last-of-type").setAttribute("transform", "rotate(90)");
    const stem = element.querySelector(".stem");
    if (stem) {
      const [a, b] = this.plane.at(hold.thing.at);
      stem.setAttribute("d", `M0 0L${(a - x).toFixed(1)} ${(b - y).toFixed(1)}`);
      element.querySelector(".tip").setAttribute("transform", `rotate(${degrees(Math.atan2(y - b, x - a)).toFixed(1)})`);
    }
  }

  take(event, element) {
    if (this.dragged || event.button > 0) return;
    event.preventDefault();
    element.focus({ preventScroll: true });
    this.view.select(element.hold.thing.name);
    this.plane.over.setPointerCapture(event.pointerId);
    const hold = element.hold;
    const start = Object.fromEntries((hold.pair ?? []).filter(Boolean).map((field) => [field.name, field.value]));
    this.dragged = { pointer: event.pointerId, element, from: [event.clientX, event.clientY], start, point: [...hold.point], moved: false };
  }

  drag(event) {
    const held = this.dragged;
    if (!held || event.pointerId !== held.pointer) return;
    const dx = event.clientX - held.from[0], dy = event.clientY - held.from[1];
    if (!held.moved && Math.hypot(dx, dy) < 2) return;
    held.moved = true;
    const { across, down } = this.plane.look, hold = held.element.hold, [first, second] = this.plane.metres(dx, dy);
    let values = {};
    if (hold.angle) {
      const point = [...held.point];
      point[across] += first; point[down] += second;
      values = { [hold.angle.name]: angleAt(this.plane, hold, point) };
    } else {
      const [one, other] = hold.pair;
      if (one) values[one.name] = held.start[one.name] + first;
      if (other) values[other.name] = held.start[other.name] + second;
    }
    this.view.moving();
    this.link.move(values, { fine: event.shiftKey || this.view.fine, alone: this.view.alone });
  }

  drop(event) {
    const held = this.dragged;
    if (!held || event.pointerId !== held.pointer) return;
    this.dragged = null;
    if (held.moved) this.link.release();
  }

  press(event, element) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const hold = element.hold;
    let step = ARROWS[event.key];
    const times = event.key === "PageUp" || event.key === "PageDown" ? 10 : 1;
    if (times === 10) step = event.key === "PageUp" ? [0, -1] : [0, 1];
    if (!step) return;
    event.preventDefault();
    const fine = event.shiftKey || this.view.fine, values = {};
    const put = (field, sign) => {
      if (!field || !sign) return;
      const known = element.wanted?.[field.name] ?? field.value;
      values[field.name] = known + sign * times * (fine ? field.fine : field.step);
    };
    if (hold.angle) put(hold.angle, this.plane.kind === "plan" ? step[0] * (hold.thing.inward || 1) || -step[1] : step[1] || step[0]);
    else { put(hold.pair[0], step[0]); put(hold.pair[1], this.plane.look.turned * step[1]); }
    if (!Object.keys(values).length) return;
    element.wanted = { ...element.wanted, ...values };
    this.view.moving();
    this.link.move(values, { fine, alone: this.view.alone });
  }

  letGo(element) {
    if (!element.wanted) return;
    element.wanted = null;
    this.link.release();
  }
}
