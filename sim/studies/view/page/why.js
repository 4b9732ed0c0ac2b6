// Why a peak or a dip is there and what would remove it, in the sentences of the program; its path is shown meanwhile.
class Why {
  constructor(box, view) {
    this.box = box; this.view = view; this.path = null; this.asked = null;
    this.title = box.querySelector("h2"); this.text = box.querySelector("pre");
    box.querySelector("button").addEventListener("click", () => this.close());
  }

  get open() { return !this.box.hidden; }

  reflection(one) {
    this.view.chosen = one.key;
    this.path = null;
    this.ask({ kind: "why", key: one.key }, `${one.mark ?? ""} ${one.via}`.trim());
  }

  dip(hz, speaker) { this.ask({ kind: "dip", hz, speaker }, `${speaker}: dip at ${octaveWords(hz)}`); }

  ask(message, title) {
    const { view } = this;
    this.asked = message;
    this.title.textContent = title;
    this.text.textContent = "Being worked out \u2026";
    this.box.hidden = false;
    view.ask();
    if (view.frame?.fresh.curve === "now") { this.asked = null; view.link.say({ ...message, page: view.link.page }); }
    else this.text.textContent = "Stand still until everything is of now; then this is worked out.";
  }

  // A question that was asked while something was old is asked again once everything is of now.
  rested() {
    if (!this.asked || !this.open) return;
    const message = this.asked;
    this.asked = null;
    this.text.textContent = "Being worked out \u2026";
    this.view.link.say({ ...message, page: this.view.link.page });
  }

  hear(message) {
    if (!this.open) return;
    this.title.textContent = message.title;
    this.write(message.lines.map((line) => line.replace(/(^|[ (])-(?=\d)/g, "$1\u2212")));
    this.text.scrollTop = 0;
    if (!message.path) return;
    this.path = { ...message.path, number: message.number, fresh: "now", mark: "", inWindow: true, margin: null, change: null };
    this.view.chosen = message.path.key;
    this.view.ask();
  }

  // Lines as they are; those with columns keep them.
  write(lines) {
    const parts = [];
    lines.forEach((line, i) => {
      const columns = /\S {2,}\S/.test(line) || (/ {9,}\S/.test(line) && /\S {2,}\S/.test(lines[i + 1] ?? "")), last = parts.at(-1);
      if (last && last.columns === columns) last.lines.push(line);
      else parts.push({ columns, lines: [line] });
    });
    this.text.replaceChildren(...parts.map(({ columns, lines: mine }) => {
      if (!columns) return document.createTextNode(`${mine.join("\n")}\n`);
      const made = document.createElement("span");
      made.className = "cells";
      made.textContent = mine.join("\n");
      return made;
    }));
  }

  fail(words) { if (this.open) this.text.textContent = words; }

  // The path of the answer, for plan, section and space, where it is none of those that are listed.
  shownPath(scene, frame, listed) {
    if (!this.open || !this.path || this.path.key !== this.view.chosen || listed.length) return listed;
    const speaker = scene.speakers[this.path.speaker];
    return speaker ? [{ ...this.path, mark: `${speaker.letter}\u2022`, fresh: frame.fresh.curve === "now" ? "now" : "old" }] : listed;
  }

  close() {
    if (!this.open) return false;
    this.box.hidden = true; this.path = null; this.asked = null;
    this.view.chosen = null;
    this.view.ask();
    return true;
  }
}
