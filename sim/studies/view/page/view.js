// What starts the page, keeps what is chosen in it, and hands each frame to everything that draws.
const byId = (name) => document.getElementById(name);
const data = JSON.parse(byId("view-data").textContent);
const rgb = (text) => hexPaint(text).slice(0, 3).map((part) => Math.round(255 * part));
const STATES = {
  open: "", lost: "The program does not answer; it is looked for again. Start it anew on this scene and this page goes on, or paste its new address.",
  refused: "This address does not open the session: paste the newest one that bounceplan printed, and what you moved comes along.",
  "no-token": "The address lacks its last part: take the whole of what bounceplan printed, with everything after the #.",
};

class View {
  constructor() {
    this.selected = "left"; this.speaker = 0; this.chosen = null; this.fine = false; this.refused = new Set(); this.edits = true;
    this.goingOn = new GoingOn(this);
    this.link = new Link(data.socket, { text: (message) => this.hear(message), frame: (buffer) => this.take(buffer), state: (name) => this.state(name) });
    this.planes = [new Plane(byId("plan"), "plan"), new Plane(byId("side"), "side")];
    this.holds = this.planes.map((plane) => new Holds(plane, this.link, this));
    for (const plane of this.planes) plane.onsize = () => this.ask();
    this.why = new Why(byId("why"), this);
    this.panels = new Panels(this);
    this.compared = new Compared(this);
    this.saving = new Saving(this);
    this.times = new OverTime(byId("times"), byId("curve-value"), this);
    this.curve = new Curve(byId("curve"), byId("curve-value"), (hz, speaker) => this.why.dip(hz, speaker));
    this.list = new List(byId("list"), byId("list-note"), (key) => this.choose(key));
    this.fields = new Fields(byId("fields"), byId("thing"), this.link, this);
    this.space = new Space(byId("canvas"), byId("names"), data, (found) => this.tellSpot(found), (found) => { if (found) this.link.say({ kind: "surface", name: found.name }); });
    this.classes = data.colours.map(rgb);
    this.legend();
    this.controls();
  }

  get alone() { return !byId("together").checked; }

  state(name) {
    document.documentElement.dataset.link = name;
    const gone = name === "lost" || name === "refused";
    this.goingOn.show(gone);
    if (gone) { this.saving.forget(); byId("fresh").textContent = "What you see stays; nothing is worked out."; byId("fresh").dataset.fresh = "lost"; }
    this.tell(STATES[name], name !== "open");
  }

  tell(words, warns = false) {
    const told = byId("said");
    told.textContent = words;
    told.classList.toggle("warns", warns);
    if (!warns) { this.refused.clear(); }
  }

  hear(message) {
    if (message.page !== undefined && message.page !== this.link.page) return;
    const asked = { why: this.why, dip: this.why, worth: this.panels, compare: this.compared };
    if (message.kind === "scheme") this.setScheme(message);
    else if (message.kind === "state") this.goingOn.keep(message);
    else if (message.kind === "job") this.saving.hear(message);
    else if (message.kind === "hung") this.panels.heardHung(message);
    else if (message.kind === "working") this.compared.working(message.words);
    else if (message.kind === "unanswered") asked[message.asked]?.fail(message.words);
    else if (asked[message.kind]) asked[message.kind].hear(message);
    else if (message.kind === "refused") { this.tell(message.words, true); this.refused = new Set(message.things); this.ask(); }
    else if (message.kind === "surface" || message.kind === "kept") { this.tell(message.words); if (message.kind === "kept") byId("keep-box").close(); }
    else if (message.kind === "pages") byId("pages").textContent = message.count > 1 ? `${message.count} pages are open on this scene; all of them show and move the same.` : "";
    else if (message.kind === "file") { this.tell(message.words, true); byId("again").hidden = !message.readable; }
  }

  setScheme(scheme) {
    this.edits = scheme.edits ?? this.edits;
    this.goingOn.meet(scheme.session);
    this.scene = scheme;
    document.title = `${scheme.title}: live`;
    byId("title").textContent = scheme.title;
    const band = byId("band"), speaker = byId("speaker"), key = `${scheme.bands}${scheme.speakers.map((one) => one.name)}`;
    if (key !== this.choices) {
      this.choices = key;
      band.replaceChildren(); speaker.replaceChildren();
      scheme.bands.forEach((hz, i) => option(band, i, octaveWords(hz)));
      option(speaker, 0, scheme.speakers.length > 1 ? "all monitors" : scheme.speakers[0].name);
      if (scheme.speakers.length > 1) scheme.speakers.forEach((one, i) => option(speaker, i + 1, `${one.name} alone`));
      this.selected = scheme.speakers[0].name;
    }
  }

  take(buffer) {
    this.waiting = decodeFrame(buffer);
    this.ask(true);
  }

  // Everything is drawn at most once for each picture of the screen, the newest frame alone.
  ask(fresh = false) {
    this.fresh = this.fresh || fresh;
    if (this.due) return;
    this.due = requestAnimationFrame(() => { this.due = 0; this.draw(); });
  }

  draw() {
    if (!this.waiting || !this.scene || !this.fits(this.waiting)) return;
    const frame = this.waiting, scene = this.placed(frame), fresh = this.fresh;
    this.fresh = false;
    this.frame = frame;
    const shown = this.shownOf(scene, frame);
    byId("answer").classList.toggle("long", frame.answer.length > 170);
    byId("answer").textContent = frame.answer.replace(/(^|[ (])-(?=\d)/g, "$1\u2212");
    this.freshness(frame);
    this.planes.forEach((plane, i) => { plane.draw(scene, frame, shown); this.holds[i].update(this.edits ? frame.handles : []); });
    this.curve.draw(scene, frame, shown);
    this.times.draw(scene, frame, shown);
    this.panels.draw(frame);
    if (frame.fresh.curve === "now" && frame.fresh.maps === "now") this.why.rested();
    byId("why-more").hidden = !shown.listed.some((one) => one.key === this.chosen);
    for (const id of ["keep", "save", "compare", "pin"]) byId(id).disabled = !this.edits;
    this.list.draw(scene, frame, shown);
    this.fields.draw(frame.handles, scene.unit);
    this.space.draw(scene, frame, shown);
    byId("undo").disabled = !frame.undo || !this.edits; byId("redo").disabled = !frame.redo || !this.edits;
    byId("band").value = String(frame.band);
    if (fresh) { this.link.drawn(); document.documentElement.dataset.ready = "frame"; document.documentElement.dataset.frame = String(frame.number); }
  }

  // Texts overtake frames: a frame is drawn with the scheme that it was made for, never with another.
  fits(frame) {
    if (frame.scheme !== this.scene.scheme) return false;
    completeFrame(frame, this.scene);
    return true;
  }

  freshness(frame) {
    if (document.documentElement.dataset.link !== "open") return; // what is drawn again then is what was shown
    const told = byId("fresh"), moving = frame.fresh.curve !== "now";
    const words = frame.fresh.curve === "old" && frame.fresh.edges === "now" ? "Edges are of now too; sound waves at low frequencies are being worked out: what is dotted lacks them." : frame.fresh.curve === "none" ? "First reflections only; edges and the rest are being worked out." : moving ? "Places, first reflections and desk map are of now; what edges add, and all that is dotted or slanted, of before the move." : "Everything is of now.";
    told.textContent = words;
    told.dataset.fresh = frame.fresh.curve;
  }

  // The scheme with everything in its place, in the shape that drawing wants.
  placed(frame) {
    const scheme = this.scene, triangles = pointsOf(frame.arrays.triangles.values), ends = pointsOf(frame.arrays.lines.values);
    const planes = frame.arrays.normals.values, seats = pointsOf(frame.arrays.seats.values), bodies = new Map();
    const facets = scheme.facets.map((facet, i) => {
      const mine = [];
      for (let at = facet.start; at < facet.start + facet.count; at += 1) mine.push(triangles.slice(3 * at, 3 * at + 3));
      return { ...facet, triangles: mine, lines: [], normal: [...planes.subarray(4 * i, 4 * i + 3)], offset: planes[4 * i + 3], ofRoom: facet.owner === scheme.facets[0].owner };
    });
    scheme.lineFacets.forEach((facet, i) => facets[facet]?.lines.push([ends[2 * i], ends[2 * i + 1]]));
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (const facet of facets) {
      const corners = facet.triangles.flat();
      if (facet.ofRoom) for (const corner of corners) for (let i = 0; i < 3; i += 1) { low[i] = Math.min(low[i], corner[i]); high[i] = Math.max(high[i], corner[i]); }
      if (facet.ofRoom) continue;
      const body = bodies.get(facet.owner) ?? { name: facet.owner, kind: facet.kind, facets: [], low: [Infinity, Infinity, Infinity], high: [-Infinity, -Infinity, -Infinity] };
      for (const corner of corners) for (let i = 0; i < 3; i += 1) { body.low[i] = Math.min(body.low[i], corner[i]); body.high[i] = Math.max(body.high[i], corner[i]); }
      body.facets.push(facet);
      bodies.set(facet.owner, body);
    }
    for (const [i, panel] of scheme.panels.entries()) bodies.set(panel.name, panelBody(panel, pointsOf(frame.arrays.panels.values).slice(8 * i, 8 * i + 8)));
    const near = this.nearOf(frame.handles, low, high);
    return { ...scheme, facets, bodies: [...bodies.values()], low, high, near, key: near.flat().map((value) => value.toFixed(3)).join() };
  }

  // The box round monitors, seat and desks. It grows when something leaves it, and does not shrink under a hand.
  nearOf(things, low, high) {
    const box = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]];
    for (const thing of things.filter((one) => ["loudspeaker", "ear", "desk"].includes(one.kind) || (one.kind === "panel" && one.name === this.selected))) {
      for (const point of [thing.at, ...(thing.kind === "desk" ? [thing.low.map((value, i) => (i === 2 ? thing.at[2] : value)), thing.high] : [])]) {
        for (let i = 0; i < 3; i += 1) { box[0][i] = Math.min(box[0][i], point[i]); box[1][i] = Math.max(box[1][i], point[i]); }
      }
    }
    const roomy = [box[0].map((value, i) => Math.max(value - AROUND_M, low[i])), box[1].map((value, i) => Math.min(value + AROUND_M, high[i]))];
    const tight = [box[0].map((value, i) => Math.max(value - 0.3 * AROUND_M, low[i])), box[1].map((value, i) => Math.min(value + 0.3 * AROUND_M, high[i]))];
    const room = [...low, ...high].map((value) => value.toFixed(2)).join();
    const fits = this.near && this.nearRoom === room && [0, 1, 2].every((i) => tight[0][i] >= this.near[0][i] && tight[1][i] <= this.near[1][i]);
    if (!fits) { this.near = roomy; this.nearRoom = room; }
    return this.near;
  }

  shownOf(scene, frame) {
    const shown = {
      speaker: this.speaker, chosen: this.chosen, refused: this.refused, selected: frame.handles.find((one) => one.name === this.selected),
      inches: scene.inches, classes: this.classes, floor: data.floor, stepsPerDb: data.stepsPerDb, lowest: data.lowest, step: data.step,
      hidden: (body) => this.planes[0].kind === "plan" && body.low[2] > scene.high[2] - 0.5 && body.kind === "furniture",
    };
    shown.listed = strongestOf(scene, frame, shown);
    const chosen = this.why.shownPath(scene, frame, shown.listed.filter((one) => one.key === this.chosen));
    shown.paths = chosen.length ? chosen : shown.listed.filter((one) => one.order === 1 && !one.diffracted && Number(one.mark.slice(1)) <= 2);
    shown.whole = this.planes[0].whole;
    const side = scene.speakers.some((one) => one.name === this.selected) ? this.selected : scene.speakers[0].name;
    shown.sidePaths = chosen.length || this.speaker ? shown.paths : shown.paths.filter((one) => scene.speakers[one.speaker].name === side);
    shown.paths.forEach((one) => { one.arrival = one; });
    return shown;
  }

  moving() { this.space.moving(); this.tell(""); byId("again").hidden = true; }

  select(name) { if (this.selected !== name) { this.selected = name; this.ask(); } }

  choose(key) { this.chosen = this.chosen === key ? null : key; this.ask(); }

  letterOf(name) { return this.scene.speakers.find((one) => one.name === name)?.letter ?? ""; }

  fieldWords(field) { return `${fieldText(field, this.scene.unit)} ${unitSign(field, this.scene.unit)}`.trim(); }

  tellSpot(found) {
    if (!found) { byId("spot").textContent = "Nothing there."; return; }
    const [depth, across, up] = found.point.map((value) => lengthWords(value, this.scene.unit));
    const level = found.level === null ? "" : found.level < data.lowest ? `, under ${levelWords(data.lowest)}` : `, ${levelWords(found.level)}`;
    byId("spot").textContent = `${found.name}: from front ${depth}, from left ${across}, up ${up}${level}`;
  }

  legend() {
    const width = 300, cell = width / data.colours.length;
    const boxes = data.colours.map((colour, i) => `<rect x="${i * cell}" y="0" width="${cell}" height="10" fill="${colour}"/>`);
    const marks = data.colours.map((_, i) => (i % 4 ? "" : `<text x="${Math.max(i * cell, 9)}" y="21" text-anchor="middle">${minus(String(data.lowest + i * data.step))}</text>`));
    byId("scale").innerHTML = `<svg viewBox="0 0 ${width + 78} 23" role="img" aria-label="Colours of the desk map: pale for ${minus(String(data.lowest))} dB, dark for 0 dB and above">${boxes.join("")}${marks.join("")}<text x="${width + 4}" y="10">dB on desk</text></svg>`;
  }

  controls() {
    byId("undo").addEventListener("click", () => this.link.say({ kind: "undo" }));
    byId("redo").addEventListener("click", () => this.link.say({ kind: "redo" }));
    byId("pin").addEventListener("click", () => this.link.say({ kind: "pin" }));
    byId("again").addEventListener("click", () => { byId("again").hidden = true; this.tell(""); this.link.say({ kind: "again" }); });
    byId("keep").addEventListener("click", () => { byId("keep-box").showModal(); byId("keep-name").select(); });
    byId("keep-form").addEventListener("submit", (event) => { event.preventDefault(); this.link.say({ kind: "keep", name: byId("keep-name").value }); });
    byId("keep-cancel").addEventListener("click", () => byId("keep-box").close());
    byId("why-more").addEventListener("click", () => this.whyChosen());
    byId("over-time").addEventListener("click", () => this.overTime());
    byId("help").addEventListener("click", () => byId("help-box").showModal());
    byId("help-close").addEventListener("click", () => byId("help-box").close());
    byId("whole").addEventListener("click", () => {
      const whole = !this.planes[0].whole;
      for (const plane of this.planes) { plane.whole = whole; plane.fitted = null; }
      byId("whole").setAttribute("aria-pressed", String(whole));
      this.ask();
      requestAnimationFrame(() => requestAnimationFrame(() => this.space.viewer?.look(byId("look").value)));
    });
    byId("speaker").addEventListener("change", () => { this.speaker = Number(byId("speaker").value); this.ask(); });
    byId("band").addEventListener("change", () => this.link.say({ kind: "octave", band: Number(byId("band").value) }));
    byId("look").addEventListener("change", () => this.space.viewer?.look(byId("look").value));
    document.addEventListener("keydown", (event) => this.press(event));
  }

  whyChosen() {
    const one = this.frame?.reflections.find((each) => each.key === this.chosen);
    if (one) this.why.reflection(one);
  }

  overTime() {
    const over = byId("times").hasAttribute("hidden");
    byId("times").toggleAttribute("hidden", !over); byId("curve").toggleAttribute("hidden", over);
    byId("over-time").setAttribute("aria-pressed", String(over));
    byId("curve-value").textContent = over ? "Thin: all sound; stems: listed reflections. Click one: why." : "Third-octaves; grey: before. Click a dip: why.";
    this.ask();
  }

  press(event) {
    const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName) && event.target.type !== "checkbox";
    if ((event.ctrlKey || event.metaKey) && !event.altKey && !typing) {
      const key = event.key.toLowerCase(), back = key === "z" && !event.shiftKey, forth = key === "y" || (key === "z" && event.shiftKey);
      if (back || forth) { event.preventDefault(); this.link.say({ kind: back ? "undo" : "redo" }); }
      return;
    }
    if (typing || event.altKey || document.querySelector("dialog[open]")) return;
    if (event.key === "p") byId("pin").click();
    else if (event.key === "k") { event.preventDefault(); byId("keep").click(); }
    else if (event.key === "w") byId("whole").click();
    else if (event.key === "t") byId("together").click();
    else if (event.key === "?") byId("help").click();
    else if (event.key === "a" && this.edits) { event.preventDefault(); byId("hang").click(); }
    else if (event.key === "c") byId("compare").click();
    else if (event.key === "s") byId("save").click();
    else if (event.key === "e") this.overTime();
    else if (event.key === "y") this.whyChosen();
    else if (event.key === "Delete") byId("take").click();
    else if (event.key === "Escape") { if (!this.why.close()) this.choose(null); this.tell(""); }
    else if (/^[1-8]$/.test(event.key)) this.list.rows[Number(event.key) - 1]?.row.click();
  }
}

function panelBody(panel, corners) {
  const facets = BOX_SIDES.map((side) => {
    const [a, b, c, d] = side.map((i) => corners[i]);
    const middle = plus(plus(a, b), plus(c, d)).map((value) => value / 4), centre = corners.reduce((sum, corner) => plus(sum, corner, 1 / 8), [0, 0, 0]);
    return { normal: unit(less(middle, centre)), triangles: [[a, b, c], [a, c, d]], lines: [[a, b], [b, c], [c, d], [d, a]] };
  });
  const ends = (pick) => [0, 1, 2].map((i) => pick(...corners.map((corner) => corner[i])));
  return { name: panel.name, kind: "panel", facets, low: ends(Math.min), high: ends(Math.max) };
}

window.bounceplanView = new View();
