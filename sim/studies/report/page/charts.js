// Values on the curves, by pointer, finger and keys. The drawings are there already; this adds a line and words.
function nearestPlace(places, value, logarithmic) {
  let best = 0, least = Infinity;
  places.forEach((place, i) => {
    const away = logarithmic ? Math.abs(Math.log(place / value)) : Math.abs(place - value);
    if (away < least) { least = away; best = i; }
  });
  return best;
}

const frameOf = (svg) => svg.dataset.frame.split(" ").map(Number);

function acrossOf(chart, svg, place) {
  const [left, , right] = frameOf(svg), [low, high] = chart.across;
  const share = chart.log ? Math.log(place / low) / Math.log(high / low) : (place - low) / (high - low);
  return left + Math.min(Math.max(share, 0), 1) * (right - left);
}

function placeOf(chart, svg, x) {
  const [left, , right] = frameOf(svg), [low, high] = chart.across;
  const share = Math.min(Math.max((x - left) / (right - left), 0), 1);
  return chart.log ? low * (high / low) ** share : low + share * (high - low);
}

function curvePath(chart, svg, tenths) {
  const [, top, , bottom] = frameOf(svg), [low, high] = chart.upward;
  const points = tenths.map((value, i) => {
    const share = Math.min(Math.max((value / 10 - low) / (high - low), 0), 1);
    return `${acrossOf(chart, svg, chart.places[i]).toFixed(1)} ${(bottom - share * (bottom - top)).toFixed(1)}`;
  });
  return `M${points.join("L")}`;
}

function chartWords(chart, at) {
  const place = chart.places[at];
  const levels = chart.series.map((one) => {
    const words = levelWords(one.tenths[at] / 10);
    return chart.series.length > 1 ? `${one.name} ${words}` : words;
  });
  if (chart.kind !== "time") return `Third-octave at ${octaveWords(place)}: ${levels.join("; ")}`;
  const peak = chart.peaks.find((one) => Math.abs(one[0] - place) < 0.06);
  const longer = minus((place * chart.metresPerMs).toFixed(2));
  const words = `${minus(place.toFixed(2))} ms after direct (${(place + chart.flight).toFixed(2)} ms from the loudspeaker, ${longer} m longer): ${levels.join("; ")}`;
  return peak ? `${words}. Peak: ${peak[2]}, ${levelWords(peak[1])}` : words;
}

function startChart(chart, unitName) {
  const box = byId(chart.name), told = byId(`${chart.name}-value`);
  let at = nearestPlace(chart.places, chart.kind === "time" ? 0 : 1000, chart.log);
  box.tabIndex = 0;
  box.setAttribute("role", "slider");
  box.setAttribute("aria-valuemin", "0");
  box.setAttribute("aria-valuemax", String(chart.places.length - 1));
  const move = (to, aloud) => {
    at = Math.min(Math.max(to, 0), chart.places.length - 1);
    for (const svg of box.children) {
      const cursor = svg.querySelector(".cursor"), [, top, , bottom] = frameOf(svg);
      const x = acrossOf(chart, svg, chart.places[at]).toFixed(1);
      cursor.setAttribute("d", `M${x} ${top}V${bottom}`);
      cursor.setAttribute("visibility", "visible");
    }
    const words = chartWords(chart, at);
    box.setAttribute("aria-valuenow", String(at));
    box.setAttribute("aria-valuetext", words);
    if (aloud) told.textContent = words;
  };
  box.setAttribute("aria-valuenow", String(at));
  box.setAttribute("aria-valuetext", chartWords(chart, at));
  const point = (event) => {
    const svg = event.target.closest("svg");
    if (!svg) return;
    const shape = svg.getBoundingClientRect(), x = (event.clientX - shape.left) / shape.width * svg.viewBox.baseVal.width;
    move(nearestPlace(chart.places, placeOf(chart, svg, x), chart.log), true);
  };
  box.addEventListener("pointermove", point);
  box.addEventListener("pointerdown", point);
  box.addEventListener("focus", () => move(at, true));
  box.addEventListener("keydown", (event) => {
    const small = chart.kind === "time" ? 10 : 1;
    const peaks = chart.kind === "time" ? chart.peaks.map((one) => nearestPlace(chart.places, one[0], false)) : [];
    const to = {
      ArrowLeft: at - (event.shiftKey ? 1 : small), ArrowRight: at + (event.shiftKey ? 1 : small), Home: 0, End: chart.places.length - 1,
      PageDown: peaks.find((place) => place > at) ?? at + small * 5, PageUp: peaks.findLast((place) => place < at) ?? at - small * 5,
    }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    move(to, true);
  });
}

// Another thing left out of the response: the second curve changes.
function startChoice(select, charts) {
  const chart = charts.find((one) => one.name === select.dataset.chart), box = byId(chart.name);
  select.addEventListener("change", () => {
    const chosen = chart.cases[Number(select.value)];
    chart.series[1].name = chosen.name;
    chart.series[1].tenths = chosen.tenths;
    for (const svg of box.children) svg.querySelector('[data-series="1"]').setAttribute("d", curvePath(chart, svg, chosen.tenths));
    box.closest("figure").querySelector('.legend [data-series="1"]').textContent = chosen.name;
    byId(`${chart.name}-value`).textContent = "The dashed line has changed; point at it for values.";
  });
}
