// The strongest reflections, with what has changed and how near each is to vanishing. A row shows its path and a cure.
const FRAGILE_M = 0.05;

// The reflections that are listed: the strongest of each loudspeaker inside the window, marked L1, L2, R1 ...
function strongestOf(scene, frame, shown) {
  const listed = [];
  scene.speakers.forEach((speaker, s) => {
    if (shown.speaker && shown.speaker !== s + 1) return;
    const mine = frame.reflections.filter((one) => one.speaker === s && one.inWindow).sort((a, b) => b.worst - a.worst).slice(0, data.rowsEach);
    mine.forEach((one, i) => { one.mark = `${speaker.letter}${i + 1}`; });
    listed.push(...mine);
  });
  return listed;
}

class List {
  constructor(body, note, choose) { this.body = body; this.note = note; this.choose = choose; this.rows = []; }

  draw(scene, frame, shown) {
    const listed = shown.listed, unit = scene.unit, rank = (one) => Number(one.mark.slice(1));
    const order = [...listed].sort((a, b) => rank(a) - rank(b) || a.speaker - b.speaker);
    while (this.rows.length < order.length) this.rows.push(this.make());
    while (this.rows.length > order.length) this.rows.pop().row.remove();
    order.forEach((one, i) => {
      const { row, button, cells } = this.rows[i], speaker = scene.speakers[one.speaker];
      row.dataset.key = one.key;
      const chosen = shown.chosen === one.key;
      button.setAttribute("aria-pressed", String(chosen));
      button.textContent = one.mark;
      button.style.borderColor = speaker.colour;
      button.style.borderStyle = speaker.dashes ? "dashed" : "solid";
      button.setAttribute("aria-label", `${one.mark}: ${speaker.name}, ${one.via}: show its path`);
      row.classList.toggle("over", one.worst > scene.target.level);
      row.classList.toggle("old", one.fresh === "old");
      const texts = [
        `${one.diffracted ? "edge: " : ""}${one.via}`, one.delay.toFixed(1), `${minus(one.worst.toFixed(1))}${one.worst > scene.target.level ? " \u25b2" : ""}`,
        one.fresh === "old" ? "old" : one.change === null ? (frame.arrays.curveBefore ? "new" : "") : signed(one.change),
        one.margin === null ? "\u2013" : this.margin(one.margin, unit),
      ];
      texts.forEach((text, column) => { if (cells[column].textContent !== text) cells[column].textContent = text; });
      cells[0].title = one.via;
      cells[4].classList.toggle("fragile", one.margin !== null && one.margin < FRAGILE_M);
    });
    const found = listed.find((one) => one.key === shown.chosen);
    const cure = found && (found.cure || "stand still for a moment and what would remove it is worked out");
    const words = found ? `${found.mark}: ${found.cure ? `what would remove it: ${cure}.` : `${cure}.`}` : `Levels: the highest octave of the target. \u25b2 above ${minus(String(scene.target.level))} dB.`;
    if (this.note.textContent !== words) this.note.textContent = words;
  }

  margin(metres, unit) {
    if (unit === "in" || unit === "ft") return `${(Math.round(metres / 0.0254 * 4) / 4).toFixed(metres > 0.25 ? 0 : 2).replace(/\.?0+$/, "")} in`;
    return `${Math.round(metres * 100)} cm`;
  }

  make() {
    const row = document.createElement("tr"), head = document.createElement("th"), button = document.createElement("button");
    button.type = "button";
    head.scope = "row";
    head.append(button);
    row.append(head);
    const cells = [0, 1, 2, 3, 4].map((column) => {
      const cell = document.createElement("td");
      if (column) cell.className = "num";
      row.append(cell);
      return cell;
    });
    row.addEventListener("click", () => this.choose(row.dataset.key));
    this.body.append(row);
    return { row, button, cells };
  }
}
