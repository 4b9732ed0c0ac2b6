// What starts when the page is there: charts, then the picture if the graphics card allows, then printing.
const report = JSON.parse(byId("report-data").textContent);
document.documentElement.classList.add("scripted");

for (const chart of report.charts) startChart(chart, report.unit);
for (const select of document.querySelectorAll("select[data-chart]")) startChoice(select, report.charts);

function tellSpot(found) {
  const told = byId("picture-value");
  if (!found) { told.textContent = "Nothing there."; return; }
  const [depth, across, up] = found.point.map((value) => lengthWords(value, report.unit));
  const place = `${found.name}: from front ${depth}, from left ${across}, up ${up}`;
  const band = byId("band"), octave = octaveWords(report.layouts[0].bands[Number(band.value)]);
  const level = found.level === null ? "no hotspot map of this" : found.level < report.lowest ? `under ${levelWords(report.lowest)}` : levelWords(found.level);
  told.textContent = `${place}. ${found.level === null ? "" : `${octave}: `}${level}.`;
}

async function startPicture() {
  const canvas = byId("canvas");
  const gl = canvas.getContext("webgl", { antialias: true, alpha: false, preserveDrawingBuffer: true });
  if (!gl) return null;
  const programs = makePrograms(gl, report.colours);
  const pictures = report.layouts.map((layout) => new RoomPicture(gl, programs, layout, report));
  const unpacked = await Promise.all(pictures.map((picture) => picture.unpack()));
  canvas.hidden = false;
  byId("controls").hidden = false;
  byId("no-picture").hidden = true;
  document.querySelector(".still").hidden = true;
  const viewer = new Viewer(canvas, byId("names"), report, pictures, tellSpot);
  fillControls(viewer, report);
  if (!unpacked.every(Boolean)) byId("picture-value").textContent = "This browser is too old to show hotspots; the tables hold the numbers.";
  viewer.look("start");
  viewer.draw();
  return viewer;
}

// Ranks in the tables become buttons that draw the way of that arrival.
function startTables(viewer) {
  for (const place of document.querySelectorAll("[data-show]")) {
    const button = document.createElement("button"), [layout, ...choice] = place.dataset.show.split("-");
    button.type = "button";
    button.className = "show";
    button.dataset.show = place.dataset.show;
    button.textContent = place.textContent;
    button.title = "Show its path in the picture of the room";
    button.setAttribute("aria-label", `Arrival ${place.textContent}: show its path in the picture of the room`);
    button.setAttribute("aria-pressed", "false");
    button.addEventListener("click", () => {
      if (Number(layout) !== viewer.layout) {
        byId("layout").value = layout;
        viewer.layout = Number(layout);
        fillLists(viewer);
        chooseHotspots(viewer);
      }
      chooseWay(viewer, choice.join("-"));
      byId("picture").scrollIntoView({ block: "nearest" });
    });
    const printed = document.createElement("span");
    printed.className = "printed";
    printed.textContent = place.textContent;
    place.replaceChildren(button, printed);
  }
}

function startPrinting(viewer) {
  const opened = [];
  window.addEventListener("beforeprint", () => {
    for (const part of document.querySelectorAll("main details:not([open], .parts, .screen)")) { part.open = true; opened.push(part); }
    if (!viewer) return;
    viewer.draw();
    byId("snapshot").src = byId("canvas").toDataURL("image/png");
    byId("snapshot").hidden = false;
  });
  window.addEventListener("afterprint", () => {
    for (const part of opened.splice(0)) part.open = false;
    byId("snapshot").hidden = true;
  });
}

document.addEventListener("picture-lost", () => {
  byId("canvas").hidden = true;
  byId("controls").hidden = true;
  byId("names").hidden = true;
  byId("no-picture").hidden = false;
  document.querySelector(".still").hidden = false;
});

startPicture().catch((fault) => { console.warn(`no picture that turns: ${fault.message}`); return null; }).then((viewer) => {
  if (viewer) startTables(viewer);
  startPrinting(viewer);
  document.documentElement.dataset.ready = viewer ? "picture" : "text";
  window.bounceplanViewer = viewer;
});
