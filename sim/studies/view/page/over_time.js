// Energy over time at the ear: a thin curve of everything, and a stem for each listed reflection that can be chosen.
const TIMES = { top: 14, bottom: 26, left: 34, right: 14, high: 6, low: -42 }, STEM_PX = 22;

class OverTime {
  constructor(svg, told, view) {
    this.svg = svg; this.told = told; this.view = view; this.stems = []; this.at = 0;
    svg.addEventListener("pointermove", (event) => { const stem = this.under(event); if (stem) this.read(stem); });
    svg.addEventListener("click", (event) => { const stem = this.under(event); if (stem) { this.read(stem); view.why.reflection(stem.one); } });
    svg.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!this.stems.length || (!step && event.key !== "Enter")) return;
      event.preventDefault();
      this.at = Math.min(Math.max(this.at + (step ?? 0), 0), this.stems.length - 1);
      this.read(this.stems[this.at]);
      if (!step) view.why.reflection(this.stems[this.at].one);
    });
  }

  draw(scene, frame, shown) {
    if (frame.arrays.overTime) this.curve = { values: frame.arrays.overTime.values, count: frame.arrays.overTime.shape[1], number: frame.number };
    if (this.svg.hasAttribute("hidden")) return;
    const width = this.svg.parentElement.clientWidth, height = this.svg.clientHeight || 200, { top, bottom, left, right, high, low } = TIMES;
    const end = Math.max(15, 1.2 * scene.target.window[1]), start = data.timeFrom;
    const x = (ms) => left + (width - left - right) * (ms - start) / (end - start);
    const y = (level) => top + (height - top - bottom) * Math.min(Math.max((high - level) / (high - low), 0), 1);
    const parts = [], [opens, closes] = scene.target.window, limit = y(scene.target.level);
    parts.push(`<rect class="not-judged" x="${x(opens).toFixed(1)}" y="${top}" width="${(x(closes) - x(opens)).toFixed(1)}" height="${(limit - top).toFixed(1)}"/>`);
    for (let level = -36; level <= 0; level += 12) parts.push(`<path class="${level === 0 ? "zero" : "grid"}" d="M${left} ${y(level).toFixed(1)}H${width - right}"/><text x="${left - 5}" y="${(y(level) + 4).toFixed(1)}" text-anchor="end">${minus(String(level))}</text>`);
    for (let ms = 0; ms <= end; ms += 5) parts.push(`<path class="grid" d="M${x(ms).toFixed(1)} ${top}V${height - bottom}"/><text x="${x(ms).toFixed(1)}" y="${height - bottom + 14}" text-anchor="middle">${ms}</text>`);
    parts.push(`<text x="${width - right}" y="${height - 1}" text-anchor="end">ms after the direct sound</text><text x="2" y="10">dB re direct</text><text class="note" x="${x(closes) - 4}" y="${top + 12}" text-anchor="end">above the target</text>`);
    const speakers = scene.speakers.map((_, s) => s).filter((s) => shown.speaker === 0 || shown.speaker === s + 1);
    const known = this.curve, old = !known || known.number !== frame.number;
    if (known && known.values.length === known.count * scene.speakers.length) {
      for (const s of speakers) {
        const line = [];
        for (let i = 0; i < known.count; i += 1) line.push(`${x(start + (i + 0.5) * data.timeStep).toFixed(1)} ${y(data.floor + known.values[s * known.count + i] / data.stepsPerDb).toFixed(1)}`);
        parts.push(`<path class="sound${old ? " old" : ""}" d="M${line.join("L")}" stroke="${scene.speakers[s].colour}" stroke-dasharray="${old ? OLD_DOTS[s % 2] : scene.speakers[s].dashes}"/>`);
      }
    }
    const beside = (s) => (speakers.length > 1 ? 4 * (speakers.indexOf(s) - 0.5 * (speakers.length - 1)) : 0); // left and right arrive together
    this.stems = shown.listed.map((one) => ({ one, at: [x(one.delay) + beside(one.speaker), y(one.worst)] })).sort((a, b) => a.at[0] - b.at[0]);
    const marks = [];
    for (const { one, at } of this.stems) {
      const speaker = scene.speakers[one.speaker], chosen = one.key === shown.chosen, past = one.fresh === "old";
      parts.push(`<path class="stem${chosen ? " chosen" : ""}" stroke="${speaker.colour}" stroke-dasharray="${past ? "1 4" : speaker.dashes}" d="M${at[0].toFixed(1)} ${height - bottom}V${at[1].toFixed(1)}"/>`);
      parts.push(`<circle cx="${at[0].toFixed(1)}" cy="${at[1].toFixed(1)}" r="${chosen ? 6.5 : 4.5}" fill="${past ? "#fff" : speaker.colour}" stroke="${past ? speaker.colour : "#fff"}" stroke-width="1.4"/>`);
      let [mx, my] = [at[0] + 7, at[1] - 5];
      while (marks.some(([a, b]) => Math.abs(a - mx) < 20 && Math.abs(b - my) < 12)) my += 12;
      marks.push([mx, my]);
      parts.push(`<text class="mark" x="${Math.min(mx, width - 20).toFixed(1)}" y="${Math.max(my, 10).toFixed(1)}" style="fill:${speaker.colour}">${one.mark}</text>`);
    }
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.innerHTML = parts.join("");
    this.svg.setAttribute("aria-valuemax", String(Math.max(this.stems.length - 1, 0)));
  }

  under(event) {
    const box = this.svg.getBoundingClientRect(), point = [event.clientX - box.left, event.clientY - box.top];
    let found = null, least = Infinity;
    for (const stem of this.stems) {
      const away = Math.abs(stem.at[0] - point[0]) + 0.15 * Math.abs(stem.at[1] - point[1]);
      if (Math.abs(stem.at[0] - point[0]) <= STEM_PX && away < least) { least = away; found = stem; }
    }
    return found;
  }

  read(stem) {
    const { one } = stem, speaker = this.view.scene.speakers[one.speaker];
    this.at = this.stems.indexOf(stem);
    this.told.textContent = `${one.mark}: ${speaker.name}, ${one.via}, ${one.delay.toFixed(1)} ms, ${levelWords(one.worst)}. Click: why.`;
    this.svg.setAttribute("aria-valuetext", this.told.textContent);
    this.svg.setAttribute("aria-valuenow", String(this.at));
  }
}
