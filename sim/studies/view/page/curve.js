// The curve at the ear in third-octaves, with a ghost of before. Dotted lines: edges and further mirrors are of an earlier place.
const CURVE = { top: 14, bottom: 26, left: 34, right: 26, high: 12, low: -18 };
const OLD_DOTS = ["1 4", "6 4 1 4"];

class Curve {
  constructor(svg, told, ask) {
    this.svg = svg; this.told = told; this.ask = ask; this.at = 10;
    new ResizeObserver(() => this.again?.()).observe(svg.parentElement);
    svg.addEventListener("pointermove", (event) => this.point(event));
    svg.addEventListener("pointerdown", (event) => this.point(event));
    svg.addEventListener("click", () => this.why());
    svg.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (event.key === "Enter" && this.octaves) { event.preventDefault(); this.why(); return; }
      if (!step || !this.octaves) return;
      event.preventDefault();
      this.at = Math.min(Math.max(this.at + step, 0), this.octaves.length - 1);
      this.read();
    });
  }

  draw(scene, frame, shown) {
    this.again = () => this.draw(scene, frame, shown);
    const width = this.svg.parentElement.clientWidth, height = this.svg.clientHeight || 200;
    const hz = scene.thirdOctaves, { top, bottom, left, right, high, low } = CURVE;
    this.octaves = hz; this.scene = scene; this.frame = frame; this.shown = shown; this.width = width; this.height = height;
    const x = (value) => left + (width - left - right) * Math.log(value / hz[0]) / Math.log(hz.at(-1) / hz[0]);
    const y = (level) => top + (height - top - bottom) * Math.min(Math.max((high - level) / (high - low), 0), 1);
    this.x = x;
    const parts = [], judged = Math.min(Math.max(x(Math.max(frame.judgedFrom, hz[0])), left), width - right);
    if (judged > left) parts.push(`<rect class="not-judged" x="${left}" y="${top}" width="${(judged - left).toFixed(1)}" height="${height - top - bottom}"/><text class="note" x="${left + 4}" y="${height - bottom - 5}">not judged</text>`);
    for (let level = -18; level <= 12; level += 6) {
      parts.push(`<path class="${level === 0 ? "zero" : "grid"}" d="M${left} ${y(level).toFixed(1)}H${width - right}"/><text x="${left - 5}" y="${(y(level) + 4).toFixed(1)}" text-anchor="end">${minus(String(level))}</text>`);
    }
    for (const mark of [125, 250, 500, 1000, 2000, 4000, 8000, 16000]) {
      parts.push(`<path class="grid" d="M${x(mark).toFixed(1)} ${top}V${height - bottom}"/><text x="${x(mark).toFixed(1)}" y="${height - bottom + 14}" text-anchor="middle">${mark >= 1000 ? `${mark / 1000}k` : mark}</text>`);
    }
    parts.push(`<text x="${width - right}" y="${height - 1}" text-anchor="end">Hz</text><text class="note" x="${left + 4}" y="${top + 12}">dB re direct</text>`);
    const line = (values, s) => {
      const count = hz.length;
      return `M${hz.map((value, i) => `${x(value).toFixed(1)} ${y(values[s * count + i]).toFixed(1)}`).join("L")}`;
    };
    const now = frame.arrays.curve.values, before = frame.arrays.curveBefore?.values, old = frame.fresh.curve !== "now";
    const speakers = scene.speakers.map((_, s) => s).filter((s) => shown.speaker === 0 || shown.speaker === s + 1);
    if (before && before.length === now.length) {
      const dots = frame.beforeFresh !== "now";
      for (const s of speakers) parts.push(`<path class="ghost${dots ? " old" : ""}" d="${line(before, s)}" stroke-dasharray="${dots ? OLD_DOTS[s % 2] : scene.speakers[s].dashes}"/>`);
    }
    let last = -100;
    for (const s of speakers) {
      const speaker = scene.speakers[s], dash = old ? OLD_DOTS[s % 2] : speaker.dashes;
      parts.push(`<path class="line${old ? " old" : ""}" d="${line(now, s)}" stroke="${speaker.colour}" stroke-dasharray="${dash}"/>`);
      let place = y(now[(s + 1) * hz.length - 1]) + 4;
      if (Math.abs(place - last) < 13) place = last + 13;
      last = place;
      parts.push(`<text class="letter" x="${width - right + 4}" y="${place.toFixed(1)}" style="fill:${speaker.colour}">${escapeText(speaker.letter)}</text>`);
    }
    parts.push('<path class="cursor" d="" visibility="hidden"/>');
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.innerHTML = parts.join("");
  }

  // Why there is a dip: of the monitor that dips most there, at the lowest point near the one that was clicked.
  why() {
    if (!this.octaves) return;
    const values = this.frame.arrays.curve.values, count = this.octaves.length;
    const near = [this.at - 1, this.at, this.at + 1].filter((at) => at >= 0 && at < count);
    let least = Infinity, speaker = 0;
    this.scene.speakers.forEach((_, s) => {
      if (this.shown.speaker && this.shown.speaker !== s + 1) return;
      for (const at of near) if (values[s * count + at] < least - 0.05) { least = values[s * count + at]; this.at = at; speaker = s; }
    });
    this.read();
    this.ask(this.octaves[this.at], this.scene.speakers[speaker].name);
  }

  point(event) {
    if (!this.octaves) return;
    const box = this.svg.getBoundingClientRect(), x = event.clientX - box.left;
    let least = Infinity;
    this.octaves.forEach((hz, i) => { const away = Math.abs(this.x(hz) - x); if (away < least) { least = away; this.at = i; } });
    this.read();
  }

  read() {
    const { frame, scene } = this, count = this.octaves.length, at = this.at, before = frame.arrays.curveBefore?.values;
    const parts = scene.speakers.map((speaker, s) => {
      const now = frame.arrays.curve.values[s * count + at], was = before?.[s * count + at];
      return `${speaker.name} ${levelWords(now)}${was === undefined ? "" : ` (${signed(now - was)})`}`;
    });
    this.told.textContent = `${octaveWords(this.octaves[at])}: ${parts.join("; ")}`;
    const cursor = this.svg.querySelector(".cursor");
    cursor.setAttribute("d", `M${this.x(this.octaves[at]).toFixed(1)} ${CURVE.top}V${this.height - CURVE.bottom}`);
    cursor.setAttribute("visibility", "visible");
    this.svg.setAttribute("aria-valuetext", this.told.textContent);
    this.svg.setAttribute("aria-valuenow", String(at));
  }
}
