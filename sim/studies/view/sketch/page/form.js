// The form: every text as it was typed, with the program's own sentence beside what is not right.
const SHAPE_WORDS = [["box", "box"], ["L", "L: a box without one corner"], ["outline", "any outline"]];
const CORNER_WORDS = ["front left", "front right", "rear left", "rear right"];

function made(tag, attributes = {}, ...children) {
  const one = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "text") one.textContent = value;
    else if (value !== null && value !== undefined) one.setAttribute(key, value);
  }
  one.append(...children);
  return one;
}

class FormPanel {
  constructor(box, link) { this.box = box; this.link = link; this.inputs = new Map(); this.faults = new Map(); }

  draw(room) {
    this.room = room;
    room.drawing.walls.forEach((wall, n) => { room.proposed[`corners.${n}.wall`] = wall.name; });
    const { texts, rows } = room, counts = Object.values(rows).map((list) => list.length);
    const key = [texts.shape, texts.units, texts.desk, texts.screen, texts.second, texts.monitors_on, room.fromFile, counts, [...rows.beams, ...rows.radiators, ...rows.openings].map((row) => row.direction ?? row.wall), room.drawing.walls.map((wall) => wall.name)].join("|");
    if (key !== this.key) { this.key = key; this.build(room); }
    for (const [name, input] of this.inputs) {
      const text = this.textOf(name);
      input.placeholder = room.proposed[name] ?? "";
      const fault = room.faults[name];
      input.setAttribute("aria-invalid", String(Boolean(fault)));
      if (input.typed && document.activeElement === input) continue;
      input.typed = false;
      if (input.type === "checkbox") input.checked = text === "yes";
      else if (input.value !== text) input.value = text;
      if (input.tagName === "SELECT" && input.value !== text) { input.append(made("option", { value: text, text })); input.value = text; }
    }
    for (const [name, box] of this.faults) if (box.textContent !== (room.faults[name] ?? "")) box.textContent = room.faults[name] ?? "";
  }

  // Takes the person to the first field that is not right.
  showFault() {
    const box = [...this.faults.values()].find((one) => one.textContent);
    if (!box) return;
    const input = this.inputs.get(box.dataset.fault) ?? box.closest(".card, .corner, fieldset")?.querySelector("input, select");
    input?.focus({ preventScroll: true });
    box.scrollIntoView({ block: "center" });
  }

  textOf(name) {
    const [what, number, key] = name.split(".");
    return key ? this.room.rows[what][Number(number)]?.[key] ?? "" : this.room.texts[name] ?? "";
  }

  set(name, text) { this.link.say({ kind: "set", name, text }); }

  build(room) {
    const focused = document.activeElement?.dataset?.field, top = this.box.scrollTop;
    this.inputs.clear(); this.faults.clear();
    this.box.replaceChildren(...[this.shape(room), this.openings(room), this.slopes(room), this.beams(room), this.radiators(room), this.seat(room), this.monitors(room), this.desk(room), this.screen(room)]);
    this.box.scrollTop = top;
    if (focused) this.inputs.get(focused)?.focus({ preventScroll: true });
  }

  fault(name) {
    const box = made("p", { class: "fault", id: `fault-${name}`, "data-fault": name, role: "status" });
    this.faults.set(name, box);
    return box;
  }

  field(name, words, extra = {}) {
    const id = `field-${name}`, label = made("label", { for: id, text: words });
    const input = made("input", { id, "data-field": name, autocomplete: "off", spellcheck: "false", maxlength: 120, "aria-describedby": `fault-${name}` });
    input.addEventListener("input", () => { input.typed = true; });
    input.addEventListener("focus", () => input.select());
    input.addEventListener("blur", () => this.enter(input));
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") { event.preventDefault(); this.enter(input); input.select(); }
      if (event.key === "Escape") { input.typed = false; input.value = this.textOf(name); }
    });
    this.inputs.set(name, input);
    const parts = extra.bare ? [label, input] : [label, input, this.fault(name)];
    return made("div", { class: `field ${extra.class ?? ""}` }, ...parts);
  }

  enter(input) {
    if (!input.typed) return;
    input.typed = false;
    this.set(input.dataset.field, input.value);
  }

  choice(name, words, options, extra = {}) {
    const id = `field-${name}`, input = made("select", { id, "data-field": name, disabled: extra.disabled ? "" : null, "aria-describedby": `fault-${name}` });
    for (const one of options) { const [value, text] = Array.isArray(one) ? one : [one, one]; input.append(made("option", { value, text })); }
    input.addEventListener("change", () => this.set(name, input.value));
    this.inputs.set(name, input);
    return made("div", { class: `field ${extra.class ?? ""}` }, made("label", { for: id, text: words }), input, this.fault(name));
  }

  tick(name, words) {
    const input = made("input", { type: "checkbox", "data-field": name });
    input.addEventListener("change", () => this.set(name, input.checked ? "yes" : ""));
    this.inputs.set(name, input);
    return made("label", { class: "check" }, input, words);
  }

  button(words, message, attributes = {}) {
    const button = made("button", { type: "button", text: words, ...attributes });
    button.addEventListener("click", () => this.link.say(message));
    return button;
  }

  group(words, ...children) { return made("fieldset", {}, made("legend", { text: words }), ...children); }

  pairs(...children) { return made("div", { class: "pairs" }, ...children); }

  shape(room) {
    const { texts, rows } = room, parts = [];
    parts.push(this.pairs(this.field("title", "called"), this.choice("units", room.fromFile ? "unit of the file" : "unit", ["m", "cm", "mm", "in", "ft"], { disabled: room.fromFile })));
    parts.push(made("p", { class: "note", text: "All lengths by tape, from wall to wall; the front wall is the one you face. A bare number is in this unit; 3.41 m or 11 ft 2 1/4 in carry their own." }));
    parts.push(this.pairs(this.choice("shape", "shape", SHAPE_WORDS), this.field("height", "height of the ceiling")));
    if (texts.shape !== "outline") parts.push(this.pairs(this.field("width", "width, left to right"), this.field("depth", "depth, front to rear")));
    if (texts.shape === "L") {
      parts.push(this.pairs(this.choice("cut_corner", "missing corner", CORNER_WORDS), this.field("cut_width", "its width"), this.field("cut_depth", "its depth")));
    }
    if (texts.shape === "outline") {
      parts.push(made("p", { class: "note", text: "Corners once round the floor; the wall from each to the next has its name." }), this.fault("corners"));
      rows.corners.forEach((_, n) => parts.push(this.corner(n)));
    }
    return this.group("Room", ...parts);
  }

  corner(n) {
    const field = (key, words) => this.field(`corners.${n}.${key}`, words, { bare: true });
    const faults = ["", ".front", ".left"].map((key) => this.fault(`corners.${n}${key}`));
    const wall = field("wall", "wall to the next");
    return made("div", { class: n ? "corner later" : "corner" }, made("b", { text: `${n + 1}` }), field("front", "from front"), field("left", "from left"), wall,
      this.button("+", { kind: "split", number: n }, { "aria-label": `add a corner after corner ${n + 1}`, title: "add a corner after this one" }),
      this.button("\u00d7", { kind: "remove", what: "corners", number: n }, { "aria-label": `take corner ${n + 1} away`, title: "take this corner away" }), ...faults);
  }

  walls(room) { return room.drawing.walls.map((wall) => wall.name); }

  openings(room) {
    const cards = room.rows.openings.map((row, n) => {
      const at = `openings.${n}`, start = ["front wall", "rear wall"].includes(row.wall) ? "left wall" : "front wall";
      return made("div", { class: "card" },
        made("div", { class: "title" }, row.name || row.kind, this.button("Remove", { kind: "remove", what: "openings", number: n }, { "aria-label": `remove ${row.name || row.kind}` })),
        this.fault(at),
        this.pairs(this.choice(`${at}.kind`, "kind", ["window", "door", "sliding door", "hatch", "opening"]), this.choice(`${at}.wall`, "in", [...this.walls(room), ...room.rows.slopes.map((slope) => slope.name).filter(Boolean)]),
          this.field(`${at}.from`, `along it, from (${start})`), this.field(`${at}.to`, "to"), this.field(`${at}.low`, "lower edge, up"), this.field(`${at}.high`, "upper edge, up")));
    });
    return this.group("Windows and doors", ...cards, made("div", { class: "row" }, this.button("Add a window", { kind: "add", what: "openings", text: "window" }), this.button("Add a door", { kind: "add", what: "openings", text: "door" })));
  }

  slopes(room) {
    const cards = room.rows.slopes.map((row, n) => {
      const at = `slopes.${n}`;
      return made("div", { class: "card" },
        made("div", { class: "title" }, row.name || "slope", this.button("Remove", { kind: "remove", what: "slopes", number: n }, { "aria-label": `remove slope ${n + 1}` })),
        this.fault(at),
        this.pairs(this.choice(`${at}.wall`, "over", this.walls(room), { class: "wide" }), this.field(`${at}.knee`, "height of that wall"), this.field(`${at}.run`, "level again, from it")));
    });
    return this.group("Sloped ceilings", this.fault("slopes"), ...cards, made("div", { class: "row" }, this.button("Add a slope", { kind: "add", what: "slopes" })));
  }

  beams(room) {
    const cards = room.rows.beams.map((row, n) => {
      const at = `beams.${n}`, start = row.direction === "along" ? "left wall" : "front wall", name = row.name || `beam ${n + 1}`;
      return made("div", { class: "card" },
        made("div", { class: "title" }, name, this.button("Remove", { kind: "remove", what: "beams", number: n }, { "aria-label": `remove ${name}` })),
        this.fault(at),
        this.pairs(this.choice(`${at}.direction`, "runs", [["across", "across, left to right"], ["along", "along, front to rear"]], { class: "wide" }), this.field(`${at}.from`, `first face (${start})`), this.field(`${at}.to`, "second face"),
          this.field(`${at}.under`, "underside, up"), this.field(`${at}.top`, "top; empty: the ceiling")));
    });
    return this.group("Beams below the ceiling", ...cards, made("div", { class: "row" }, this.button("Add a beam", { kind: "add", what: "beams" })));
  }

  radiators(room) {
    const cards = room.rows.radiators.map((row, n) => {
      const at = `radiators.${n}`, start = ["front wall", "rear wall"].includes(row.wall) ? "left wall" : "front wall", name = row.name || `radiator ${n + 1}`;
      return made("div", { class: "card" },
        made("div", { class: "title" }, name, this.button("Remove", { kind: "remove", what: "radiators", number: n }, { "aria-label": `remove ${name}` })),
        this.fault(at),
        this.pairs(this.choice(`${at}.wall`, "on", this.walls(room)), this.field(`${at}.face`, "wall to its face"), this.field(`${at}.from`, `along it, from (${start})`), this.field(`${at}.to`, "to"),
          this.field(`${at}.low`, "lower edge, up"), this.field(`${at}.high`, "upper edge, up")));
    });
    return this.group("Radiators", ...cards, made("div", { class: "row" }, this.button("Add a radiator", { kind: "add", what: "radiators" })));
  }

  place(at, front = "from front wall") { return [this.field(`${at}.front`, front), this.field(`${at}.left`, "from left wall"), this.field(`${at}.up`, "above the floor")]; }

  seat(room) {
    const parts = [this.fault("seat"), this.pairs(...this.place("seat")), this.tick("second", "there is a second seat"), this.fault("second")];
    if (room.texts.second === "yes") parts.push(this.pairs(...this.place("second")));
    return this.group("Seat: the ear", ...parts);
  }

  monitors(room) {
    const parts = [this.fault("loudspeakers")], fresh = !room.fromFile;
    const stands = [["stands", "on stands"], ["desk", "on the desk"], ["built in", "built into the front wall"]];
    parts.push(this.pairs(this.choice("monitors_on", "standing", fresh ? stands : [["", "as in the file"], ...stands]),
      ...(fresh ? [this.choice("model", "size", ["5-inch", "8-inch", "three-way", "coaxial"])] : [])));
    room.rows.loudspeakers.forEach((row, n) => {
      const at = `loudspeakers.${n}`;
      parts.push(made("div", { class: "card" }, made("div", { class: "title", text: `${row.name}: the acoustic axis, usually the tweeter` }), this.fault(at),
        this.pairs(...this.place(at), ...(room.texts.monitors_on === "stands" ? [this.field(`${at}.stand`, "stand, floor to top")] : []))));
    });
    return this.group("Monitors", ...parts);
  }

  desk(room) {
    const parts = [this.tick("desk", "there is a desk"), this.fault("desk")];
    if (room.texts.desk === "yes") parts.push(this.pairs(this.field("desk.far", "far edge, from front"), this.field("desk.near", "near edge, from front"), this.field("desk.left", "left end, from left"), this.field("desk.right", "right end, from left"), this.field("desk.top", "height of its top")));
    return this.group("Desk", ...parts);
  }

  screen(room) {
    const parts = [this.tick("screen", "there is a screen"), this.fault("screen")];
    if (room.texts.screen === "yes") parts.push(this.pairs(...this.place("screen"), this.field("screen.width", "width"), this.field("screen.height", "height")), made("p", { class: "note", text: "The place is that of the middle of the lower edge of its face." }));
    return this.group("Screen", ...parts);
  }
}
