// The page as a whole: what comes from the program is shown, what is asked for is sent.
const by = (id) => document.getElementById(id);
const UNITS = { m: 1, cm: 0.01, mm: 0.001, in: 0.0254, ft: 0.3048 };

class Sketch {
  constructor() {
    const { socket } = JSON.parse(by("sketch-data").textContent);
    this.room = null;
    this.link = new Link(socket, { text: (message) => this.hear(message), frame: () => {}, state: (state) => this.state(state) });
    this.form = new FormPanel(by("fields"), this.link);
    this.drawing = new Drawing(by("plan"), by("side"), this.link, this);
    this.underlay = new Underlay(this.drawing, this.link, this);
    const click = (id, done) => by(id).addEventListener("click", done);
    click("undo", () => this.link.say({ kind: "undo" }));
    click("redo", () => this.link.say({ kind: "redo" }));
    click("save", () => this.save());
    click("again", () => { by("again").hidden = true; this.link.say({ kind: "read" }); });
    click("show-fault", () => this.form.showFault());
    click("nearer", () => this.drawing.nearer(1.5));
    click("farther", () => this.drawing.nearer(1 / 1.5));
    click("all", () => this.drawing.whole());
    click("help", () => by("help-box").showModal());
    click("help-close", () => by("help-box").close());
    click("save-as", () => { by("save-box").showModal(); by("save-name").select(); });
    click("save-cancel", () => by("save-box").close());
    by("save-form").addEventListener("submit", (event) => { event.preventDefault(); by("save-box").close(); this.leave(); this.link.say({ kind: "save", name: by("save-name").value }); });
    document.addEventListener("keydown", (event) => this.key(event));
    window.addEventListener("beforeunload", (event) => { if (this.room && !this.room.saved && this.link.up && this.room.undo) event.preventDefault(); });
  }

  key(event) {
    const typing = event.target.closest?.("input, select, textarea, dialog");
    if ((event.ctrlKey || event.metaKey) && !event.altKey) {
      const letter = event.key.toLowerCase();
      if (letter === "s") { event.preventDefault(); this.save(); return; }
      if (event.target.typed) return;
      if (letter === "z" || letter === "y") { event.preventDefault(); this.link.say({ kind: letter === "y" || event.shiftKey ? "redo" : "undo" }); }
      return;
    }
    if (typing || event.altKey) return;
    const done = { "?": () => by("help-box").showModal(), "+": () => this.drawing.nearer(1.5), "-": () => this.drawing.nearer(1 / 1.5), 0: () => this.drawing.whole() }[event.key];
    if (done) { event.preventDefault(); done(); }
  }

  leave() { const focused = document.activeElement; if (focused?.typed) this.form.enter(focused); }

  save() { this.leave(); this.link.say({ kind: "save" }); }

  hear(message) {
    if (message.kind === "room") this.show(message);
    else if (message.kind === "refused") { this.say(message.words, true); by("again").hidden = !message.words.includes("other hands"); }
    else if (message.kind === "saved") { this.say(message.words); by("again").hidden = true; }
    else if (message.kind === "length") this.underlay.setScale(message);
  }

  show(room) {
    this.room = room;
    this.form.draw(room);
    this.drawing.draw(room);
    by("title").textContent = room.texts.title || room.folder || "sketch";
    by("undo").disabled = !room.undo; by("redo").disabled = !room.redo;
    by("state").textContent = room.saved ? `\u2713 ${room.file} is saved as shown` : `\u2026 not saved yet: ${room.file}`;
    const faults = Object.entries(room.faults), apart = faults.filter(([name]) => !this.form.faults.has(name)).map(([, words]) => words);
    if (faults.length) {
      this.faulty = true;
      this.say(`${apart[0] ?? faults[0][1]} ${faults.length > 1 ? `And ${faults.length - 1} more. ` : ""}The drawing shows the last room that could be.`, true);
    } else if (this.faulty) { this.faulty = false; this.say(""); }
    else if (!document.documentElement.dataset.ready) this.say(room.fromFile ? "Type a length or drag a corner; Save writes the file, its comments kept." : "Type the lengths of your room, or drag its corners. Save writes a scene file.");
    by("show-fault").hidden = faults.length === 0 || apart.length === faults.length;
    document.documentElement.dataset.ready = "yes";
  }

  say(words, warns = false) { by("said").textContent = words; by("said").classList.toggle("warns", warns); }

  spot(words) { by("spot").textContent = words; }

  // A length in the unit of the file, with a millimetre or a sixteenth.
  words(metres) {
    const unit = this.room.unit;
    if (unit === "in" || unit === "ft") {
      const parts = Math.round(Math.abs(metres) / 0.0254 * 16), feet = unit === "ft" ? Math.floor(parts / 192) : 0, rest = parts - 192 * feet;
      let above = rest % 16, below = 16;
      while (above && above % 2 === 0) { above /= 2; below /= 2; }
      return `${metres < 0 && parts ? "\u2212" : ""}${feet ? `${feet} ft ` : ""}${Math.floor(rest / 16)}${above ? ` ${above}/${below}` : ""} in`;
    }
    return `${(metres / UNITS[unit]).toFixed({ m: 3, cm: 1, mm: 0 }[unit]).replace("-", "\u2212")} ${unit}`;
  }

  state(state) {
    document.documentElement.dataset.link = state;
    if (state === "lost") this.say("The program cannot be reached; it is looked for again. What you see stays, but is not saved by itself.", true);
    if (state === "refused" || state === "no-token") this.say("This address has no valid token; open the one that the terminal shows.", true);
    if (state === "open" && this.room) this.say("");
  }
}

window.bounceplanSketch = new Sketch();
