// Numbers of the thing that is chosen: typed in any unit, or stepped by buttons. What is wrong is said and nothing is lost.
class Fields {
  constructor(box, select, link, view) {
    this.box = box; this.choice = select; this.link = link; this.view = view; this.rows = new Map();
    select.addEventListener("change", () => view.select(select.value));
  }

  draw(things, unit) {
    const names = things.map((thing) => thing.name).join("|");
    if (names !== this.names) {
      this.names = names;
      this.choice.replaceChildren();
      for (const thing of things) option(this.choice, thing.name, thing.kind === "ear" ? "ear (the seat)" : thing.kind === "loudspeaker" ? `${thing.name} monitor` : thing.name);
    }
    const thing = things.find((one) => one.name === this.view.selected) ?? things[0];
    if (!thing) return;
    if (this.choice.value !== thing.name) this.choice.value = thing.name;
    const key = `${thing.name}|${thing.fields.map((field) => field.name).join("|")}`;
    if (key !== this.key) {
      this.key = key;
      this.rows.clear();
      this.box.replaceChildren(...thing.fields.map((field) => this.make(field)));
    }
    for (const field of thing.fields) {
      const { input, sign, aim } = this.rows.get(field.name);
      input.field = field;
      if (document.activeElement !== input || !input.typed) input.value = fieldText(field, unit);
      sign.textContent = unitSign(field, unit);
      if (aim) { aim.setAttribute("aria-pressed", String(field.follows)); }
    }
  }

  make(field) {
    const row = document.createElement("div"), label = document.createElement("label"), input = document.createElement("input");
    const sign = document.createElement("span");
    row.className = "field";
    input.id = `field-${field.name.replace(/[^\w]/g, "-")}`;
    input.dataset.field = field.name;
    input.autocomplete = "off"; input.inputMode = "text"; input.spellcheck = false;
    label.htmlFor = input.id;
    label.textContent = field.words;
    sign.className = "unit";
    const step = (direction, words) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = direction < 0 ? "\u2212" : "+";
      button.setAttribute("aria-label", `${words} ${field.words}`);
      button.addEventListener("click", (event) => this.step(input, direction, event.shiftKey));
      return button;
    };
    input.addEventListener("input", () => { input.typed = true; });
    input.addEventListener("focus", () => input.select());
    input.addEventListener("blur", () => this.enter(input));
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") { event.preventDefault(); this.enter(input); input.select(); }
      if (event.key === "Escape") { input.typed = false; input.value = fieldText(input.field, this.view.scene.unit); }
      const direction = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (direction) { event.preventDefault(); input.typed = false; this.step(input, direction, event.shiftKey); }
    });
    const parts = [label, step(-1, "less"), input, sign, step(1, "more")];
    let aim = null;
    if (field.key === "toe_in" || field.key === "tilt") {
      aim = document.createElement("button");
      aim.type = "button";
      aim.className = "aim";
      aim.textContent = "ear";
      aim.title = "aim it at the ear, wherever that is";
      aim.setAttribute("aria-label", `${field.words}: aim at the ear`);
      aim.addEventListener("click", () => this.send(field.name, "ear"));
      parts.push(aim);
    }
    row.append(...parts);
    this.rows.set(field.name, { input, sign, aim });
    return row;
  }

  step(input, direction, shift) {
    const field = input.field, fine = shift || this.view.fine;
    this.link.move({ [field.name]: field.value + direction * (fine ? field.fine : field.step) }, { fine, alone: this.view.alone, done: true });
  }

  enter(input) {
    if (!input.typed) return;
    input.typed = false;
    this.send(input.field.name, input.value);
  }

  send(name, text) { this.link.say({ kind: "type", field: name, text, alone: this.view.alone }); }
}

function option(select, value, words) {
  const made = document.createElement("option");
  made.value = value;
  made.textContent = words;
  select.append(made);
}
