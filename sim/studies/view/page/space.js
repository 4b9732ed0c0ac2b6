// The room in space: the picture of the report, made anew from each frame. Fewer pixels while something moves.
const STILL_MS = 350;

class Space {
  constructor(canvas, names, data, tell, tap) {
    this.canvas = canvas; this.names = names; this.data = data; this.tell = tell; this.tap = tap;
    const gl = canvas.getContext("webgl", { antialias: true, alpha: false, preserveDrawingBuffer: true });
    this.gl = gl;
    this.programs = gl ? makePrograms(gl, data.colours) : null;
    let down = null;
    canvas.addEventListener("pointerdown", (event) => { down = [event.clientX, event.clientY]; });
    canvas.addEventListener("click", (event) => {
      if (this.viewer && down && Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 5) this.tap(this.viewer.under(event.offsetX, event.offsetY));
    });
    canvas.addEventListener("keydown", (event) => { if (event.key === "Enter" && this.viewer) this.tap(this.viewer.under()); });
  }

  draw(scene, frame, shown) {
    if (!this.gl) return;
    const picture = new RoomPicture(this.gl, this.programs, this.dataOf(scene, frame), this.data);
    picture.levels = this.levels;
    picture.reach = Math.hypot(...less(scene.high, scene.low));
    const [low, high] = shown.whole ? [scene.low, scene.high] : scene.near;
    picture.corners = [0, 1, 2, 3, 4, 5, 6, 7].map((i) => [i & 1 ? high[0] : low[0], i & 2 ? high[1] : low[1], i & 4 ? high[2] : low[2]]);
    picture.choose(0, shown.speaker);
    picture.show(shown.paths);
    if (!this.viewer) {
      this.viewer = new Viewer(this.canvas, this.names, this.data, [picture], (found) => this.tell(found));
      this.viewer.state.box = false;
      this.viewer.density = window.devicePixelRatio || 1;
      this.viewer.look("start");
    } else {
      this.viewer.pictures[0].release();
      this.viewer.pictures[0] = picture;
    }
    this.viewer.ask();
  }

  // Half the pixels while something moves, all of them soon after.
  moving() {
    if (!this.viewer) return;
    this.viewer.density = 1;
    clearTimeout(this.still);
    this.still = setTimeout(() => { this.viewer.density = Math.min(2, 2 * (window.devicePixelRatio || 1)); this.viewer.ask(); }, STILL_MS);
  }

  dataOf(scene, frame) {
    let driver = 0, at = 0;
    const drivers = pointsOf(frame.arrays.drivers.values), seats = pointsOf(frame.arrays.seats.values);
    const corners = pointsOf(frame.arrays.panels.values);
    const speakers = scene.speakers.map((speaker) => {
      const mine = drivers.slice(driver, driver + speaker.drivers);
      driver += speaker.drivers;
      return { ...speaker, drivers: mine };
    });
    const maps = frame.maps.map((map, number) => {
      const from = at;
      at += frame.arrays[`map${number}`].values.length;
      return { facet: map.facet, shape: map.shape, at: from, cell: map.cell };
    });
    this.levels = new Uint8Array(at);
    maps.forEach((map, number) => this.levels.set(frame.arrays[`map${number}`].values, map.at));
    return {
      speakers, maps, seats: scene.seats.map((name, i) => ({ name, at: seats[i] })), headBox: [...frame.arrays.headBox.values],
      facets: scene.facets.map((facet) => ({ name: facet.name, owner: facet.owner, kind: facet.kind, normal: facet.normal, offset: facet.offset, start: facet.start, count: facet.count })),
      triangles: frame.arrays.triangles.values, lines: frame.arrays.lines.values, lineFacets: scene.lineFacets,
      panels: scene.panels.map((panel, i) => ({ ...panel, corners: corners.slice(8 * i, 8 * i + 8) })),
      arrivals: [], bands: scene.bands, floor: this.data.floor, stepsPerDb: this.data.stepsPerDb,
    };
  }
}
