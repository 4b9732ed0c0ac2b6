// Panels: hung out of the scene's own stock, taken away, and what the chosen one brings.
class Panels {
  constructor(view) {
    this.view = view; this.asked = -1;
    this.box = byId("hang-box"); this.stock = byId("hang-stock"); this.wall = byId("hang-wall"); this.turned = byId("hang-turned");
    this.told = byId("worth"); this.take = byId("take");
    byId("hang").addEventListener("click", () => { this.fill(); this.box.showModal(); });
    byId("hang-cancel").addEventListener("click", () => this.box.close());
    byId("hang-form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.box.close();
      view.tell("");
      view.link.say({ kind: "hang", stock: Number(this.stock.value), surface: this.wall.value, turned: this.turned.checked, alone: view.alone, page: view.link.page });
    });
    this.take.addEventListener("click", () => { const thing = this.chosen(); if (thing) view.link.say({ kind: "take", name: thing.name }); });
  }

  chosen() { return this.view.frame?.handles.find((one) => one.kind === "panel" && one.name === this.view.selected); }

  fill() {
    const { scene } = this.view, key = JSON.stringify([scene.stock, scene.walls]);
    if (this.key === key) return;
    this.key = key;
    this.stock.replaceChildren(); this.wall.replaceChildren();
    scene.stock.forEach((words, i) => option(this.stock, i, words));
    for (const name of scene.walls) option(this.wall, name, name);
  }

  // The chosen panel is judged once for each place at which everything is of now.
  draw(frame) {
    const thing = this.chosen(), edits = this.view.edits;
    byId("hang").hidden = !edits;
    this.take.hidden = !thing || !edits;
    this.told.hidden = !thing;
    if (!thing) return;
    const now = frame.fresh.curve === "now" && frame.fresh.maps === "now", key = `${thing.name}|${frame.number}|${this.view.alone}`;
    if (this.known?.key === key) { this.say(this.known); return; }
    if (!now) { this.told.textContent = "What it brings is worked out when everything is of now."; return; }
    if (!edits) { this.told.textContent = ""; return; }
    if (this.asked === key) return;
    this.asked = key;
    this.told.textContent = "What it brings is being worked out \u2026";
    this.view.link.say({ kind: "worth", name: thing.name, alone: this.view.alone, page: this.view.link.page });
  }

  hear(message) {
    const { frame } = this.view;
    this.known = { key: this.asked, ...message };
    if (frame) this.draw(frame);
  }

  fail(words) { this.known = { key: this.asked, words, octaves: [], taken: [] }; if (this.view.frame) this.draw(this.view.frame); }

  say({ words, octaves, taken }) {
    const line = octaves.map((name, i) => `${name} ${signed(-taken[i])}`).join(", ");
    this.told.textContent = `${words}${line ? ` Early reflections above the target, dB: ${line}.` : ""}`;
  }

  heardHung(message) {
    if (message.page === this.view.link.page) { this.view.tell(message.words); this.view.select(message.names[0]); }
  }
}
