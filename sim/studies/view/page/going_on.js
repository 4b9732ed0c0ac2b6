// Where everything stands is kept in the page, so that it outlives the program: a new one is brought there again.
class GoingOn {
  constructor(view) {
    this.view = view; this.state = null; this.session = "";
    this.form = byId("going-on"); this.input = byId("going-on-address"); this.fault = byId("going-on-fault");
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.go(this.input.value); });
    this.token = location.hash.slice(1).split("&")[0];
    const [, brought] = location.hash.split("&");
    if (brought) {
      try { this.state = JSON.parse(new TextDecoder().decode(Uint8Array.from(atob(brought.replace(/-/g, "+").replace(/_/g, "/")), (letter) => letter.charCodeAt(0)))); this.session = "another"; } catch { this.state = null; }
      history.replaceState(null, "", `#${this.token}`);
    } else this.recall();
  }

  get changed() { return Boolean(this.state && (Object.keys(this.state.values).length || this.state.hung.length || this.state.taken.length)); }

  // A program that this page has not met before is told where everything stood, and where a drag was when it was lost.
  meet(session) {
    const { link } = this.view, another = this.session && this.session !== session;
    if (another && this.changed) link.say({ kind: "restore", state: this.state, session: this.session });
    if (link.opened && link.underWay) link.say({ kind: "move", ...link.underWay, done: true, page: link.page, seq: link.next() });
    if (link.opened) link.underWay = null;
    link.opened = false;
    this.session = session;
  }

  // The newest place, kept as long as this tab lives: it outlives a page that is loaded again.
  keep(state) {
    this.state = state;
    try { sessionStorage.setItem("bounceplan", JSON.stringify({ token: this.token, session: this.session, state })); } catch { /* it stays in the page alone */ }
  }

  recall() {
    try {
      const kept = JSON.parse(sessionStorage.getItem("bounceplan"));
      if (kept?.token === this.token && kept.state?.values) { this.state = kept.state; this.session = kept.session; }
    } catch { this.state = null; }
  }

  show(lost) { this.form.hidden = !lost; }

  // A new program has a new word: whoever pastes its address takes along what was moved.
  go(text) {
    const found = /^\s*(?:http:\/\/)?([\w.-]+|\[[\da-f:]+\]):(\d+)\/?#([\w-]+)\s*$/i.exec(text);
    const near = found && ["127.0.0.1", "localhost", location.hostname].includes(found[1]);
    this.fault.textContent = near ? "" : "Paste the whole address that bounceplan printed, from http to its last letter.";
    if (!near) return;
    const bytes = new TextEncoder().encode(JSON.stringify(this.state ?? null));
    const kept = this.changed ? `&${btoa(String.fromCharCode(...bytes)).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "")}` : "";
    const address = `${location.protocol}//${found[1]}:${found[2]}/#${found[3]}${kept}`, here = `${location.protocol}//${location.host}`;
    location.assign(address);
    if (address.startsWith(`${here}/`)) location.reload();
  }
}
