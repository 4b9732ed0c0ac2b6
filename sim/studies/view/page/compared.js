// Variants that lie in the folder against the file that was opened, by the one measure, in the words of the program.
class Compared {
  constructor(view) {
    this.view = view; this.box = byId("compare-box"); this.told = byId("compare-told"); this.table = byId("compare-table");
    byId("compare").addEventListener("click", () => this.open());
    byId("compare-close").addEventListener("click", () => this.box.close());
  }

  open() {
    this.table.replaceChildren();
    this.told.textContent = "Scenes of the folder are being traced \u2026";
    this.box.showModal();
    this.view.link.say({ kind: "compare", page: this.view.link.page });
  }

  working(words) { if (this.box.open) this.told.textContent = `${words} \u2026`; }

  fail(words) { this.told.textContent = words; }

  hear({ heads, rows, same }) {
    this.told.textContent = `Against the first row; less is better, and less than ${same} dB is the same.`;
    const head = document.createElement("tr");
    for (const words of ["", ...heads]) head.append(cell("th", words, words ? "num" : ""));
    const body = rows.flatMap((row) => this.rowsOf(row, heads.length));
    const top = document.createElement("thead"), rest = document.createElement("tbody");
    top.append(head); rest.append(...body);
    this.table.replaceChildren(top, rest);
  }

  rowsOf(row, count) {
    const made = document.createElement("tr"), name = cell("th", row.name, "");
    name.scope = "row";
    made.append(name);
    if (row.fault) {
      const fault = cell("td", row.fault, "");
      fault.colSpan = count;
      made.append(fault);
      return [made];
    }
    row.values.forEach((value, i) => {
      const verdict = row.verdicts[i], one = cell("td", value.toFixed(1), `num ${verdict.replace(" ", "-")}`);
      if (verdict) { const word = document.createElement("span"); word.textContent = { better: "\u25bc better", worse: "\u25b2 worse" }[verdict] ?? verdict; one.append(word); }
      made.append(one);
    });
    const words = [row.hurts, ...row.words].filter(Boolean);
    if (!words.length) return [made];
    const more = document.createElement("tr"), told = cell("td", words.join("; "), "told");
    told.colSpan = count + 1;
    more.append(told);
    return [made, more];
  }
}

function cell(kind, words, name) {
  const made = document.createElement(kind);
  made.textContent = words;
  if (name) made.className = name;
  return made;
}
