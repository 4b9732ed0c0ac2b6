// The form under the picture: layout, hotspots, octave, way of sound, and check boxes for everything that can be hidden.
const byId = (name) => document.getElementById(name);

function option(select, value, words) {
  const made = document.createElement("option");
  made.value = value;
  made.textContent = words;
  select.append(made);
}

// The three strongest at the ear, or one chosen arrival; keys are layout-loudspeaker-seat-number as in the tables.
function arrivalsOf(data, choice) {
  if (choice === "none") return [];
  if (choice === "top") return data.arrivals.filter((one) => one.seat === 0 && one.number <= 3);
  const [speaker, seat, rank] = choice.split("-").map(Number);
  return data.arrivals.filter((one) => one.speaker === speaker && one.seat === seat && one.number === rank);
}

function wayWords(data, arrival) {
  const level = arrival.worst === null ? "" : `, ${levelWords(arrival.worst)}`;
  return `${data.speakers[arrival.speaker].name} ${arrival.number}: ${arrival.way}, ${arrival.delay.toFixed(2)} ms${level}`;
}

function drawScale(report) {
  const width = 460, left = 16, cell = (width - 2 * left) / report.colours.length;
  const boxes = report.colours.map((colour, i) => `<rect x="${left + i * cell}" y="2" width="${cell}" height="14" fill="${colour}"/>`);
  const marks = report.colours.map((_, i) => {
    const level = report.lowest + i * report.step;
    return i % 2 ? "" : `<text x="${left + i * cell}" y="30" text-anchor="middle">${minus(String(level))}</text>`;
  });
  byId("scale").innerHTML = `<svg viewBox="0 0 ${width} 48" role="img" aria-label="Colours of levels: pale for ${minus(String(report.lowest))} dB, dark for 0 dB and above, plain for less">${boxes.join("")}${marks.join("")}<text x="${left}" y="45">dB re direct sound; plain: less or nothing</text></svg>`;
}

function fillControls(viewer, report) {
  const layout = byId("layout"), speaker = byId("speaker"), band = byId("band");
  report.layouts.forEach((one, i) => option(layout, i, `${one.letter}: ${one.title}`));
  byId("layout-choice").hidden = report.layouts.length < 2;
  byId("layout-choice").style.display = report.layouts.length < 2 ? "none" : "";
  viewer.layout = report.first;
  layout.value = String(report.first);
  const first = report.layouts[0];
  option(speaker, 0, first.speakers.length > 1 ? "all loudspeakers together" : first.speakers[0].name);
  if (first.speakers.length > 1) first.speakers.forEach((one, i) => option(speaker, i + 1, `${one.name} alone`));
  first.bands.forEach((hz, i) => option(band, i, `${octaveWords(hz)}${first.judged[i] ? "" : " (not judged)"}${first.wanted[i] ? "" : " (outside the target)"}`));
  band.value = String(first.band);
  drawScale(report);
  layout.addEventListener("change", () => { viewer.layout = Number(layout.value); fillLists(viewer); chooseHotspots(viewer); });
  for (const select of [speaker, band]) select.addEventListener("change", () => chooseHotspots(viewer));
  byId("way").addEventListener("change", () => chooseWay(viewer, byId("way").value));
  for (const button of document.querySelectorAll("[data-view]")) button.addEventListener("click", () => viewer.look(button.dataset.view));
  for (const button of document.querySelectorAll("[data-key]")) button.addEventListener("click", () => viewer.press(button.dataset.key));
  for (const box of document.querySelectorAll("[data-show-kind]")) {
    box.addEventListener("change", () => { viewer.state[box.dataset.showKind] = box.checked; viewer.ask(); });
  }
  fillLists(viewer);
  chooseHotspots(viewer);
}

function chooseHotspots(viewer) {
  viewer.picture.choose(Number(byId("band").value), Number(byId("speaker").value));
  viewer.ask();
}

// Check boxes and ways of the layout that is shown; what was hidden stays hidden where the names are the same.
function fillLists(viewer) {
  const data = viewer.picture.data, state = viewer.state;
  const names = { room: new Set(), furniture: new Set(), loudspeaker: new Set(), panel: new Set(data.panels.map((panel) => panel.name)) };
  for (const facet of data.facets) {
    if (facet.ofRoom) names.room.add(facet.name); else names[facet.kind].add(facet.owner);
  }
  for (const [kind, list] of Object.entries(names)) {
    const place = byId(`list-${kind}`);
    place.replaceChildren();
    place.parentElement.hidden = list.size === 0;
    for (const name of list) {
      const key = `${{ room: "room", panel: "panel" }[kind] ?? "body"}:${name}`;
      const label = document.createElement("label"), box = document.createElement("input");
      box.type = "checkbox";
      box.checked = !state.hidden.has(key);
      box.dataset.part = key;
      box.addEventListener("change", () => { if (box.checked) state.hidden.delete(key); else state.hidden.add(key); viewer.ask(); });
      label.append(box, ` ${name}`);
      place.append(label);
    }
  }
  const way = byId("way"), before = way.value || "top";
  way.replaceChildren();
  option(way, "top", "the three strongest of each loudspeaker");
  option(way, "none", "none");
  for (const arrival of data.arrivals) {
    option(way, `${arrival.speaker}-${arrival.seat}-${arrival.number}`, wayWords(data, arrival) + (arrival.seat ? ` at the ${data.seats[arrival.seat].name}` : ""));
  }
  way.value = [...way.options].some((one) => one.value === before) ? before : "top";
  chooseWay(viewer, way.value);
}

function chooseWay(viewer, choice) {
  const data = viewer.picture.data;
  viewer.picture.show(arrivalsOf(data, choice));
  byId("way").value = choice;
  for (const button of document.querySelectorAll(".show")) {
    button.setAttribute("aria-pressed", String(button.dataset.show === `${viewer.layout}-${choice}`));
  }
  viewer.ask();
}
