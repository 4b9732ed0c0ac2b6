// The socket: who we are is said first, moves are sent newest alone, and a lost server is looked for again.
const RETRY_MS = [300, 600, 1200, 2500, 5000];

class Link {
  constructor(path, heard) {
    this.address = `ws://${location.host}${path}`;
    this.heard = heard; // { text, frame, state }
    this.page = Math.random().toString(36).slice(2, 10);
    this.token = location.hash.slice(1).split("&")[0];
    this.seq = 0; this.tries = 0; this.wanted = null; this.unanswered = 0; this.frames = 0;
    document.addEventListener("visibilitychange", () => this.look());
    this.open();
  }

  get up() { return this.socket?.readyState === WebSocket.OPEN; }

  open() {
    if (!this.token) { this.heard.state("no-token"); return; }
    this.socket = new WebSocket(this.address);
    this.socket.binaryType = "arraybuffer";
    this.socket.addEventListener("open", () => {
      this.tries = 0; this.unanswered = 0;
      this.say({ token: this.token, page: this.page });
      this.heard.state("open");
      if (document.hidden) this.look();
    });
    this.socket.addEventListener("message", (event) => {
      if (typeof event.data === "string") this.heard.text(JSON.parse(event.data));
      else { this.frames += 1; this.heard.frame(event.data); }
    });
    this.socket.addEventListener("close", (event) => {
      if (event.code === 1008) { this.heard.state("refused"); return; }
      this.heard.state("lost");
      const wait = RETRY_MS[Math.min(this.tries, RETRY_MS.length - 1)];
      this.tries += 1;
      setTimeout(() => this.open(), wait);
    });
  }

  say(message) { if (this.up) this.socket.send(JSON.stringify(message)); }

  // Nobody looks at a hidden page: it is sent nothing until somebody does.
  look() { this.say({ kind: document.hidden ? "pause" : "go" }); }

  // The newest place of a drag, at most once for each picture of the screen.
  move(values, options = {}) {
    const same = this.wanted && Object.keys(this.wanted.values).join() === Object.keys(values).join();
    if (this.wanted && !same) this.flush();
    this.wanted = { kind: "move", values, fine: Boolean(options.fine), alone: Boolean(options.alone), page: this.page };
    if (options.done) { this.wanted.done = true; this.flush(); return; }
    if (this.due) return;
    this.due = requestAnimationFrame(() => { this.due = 0; this.flush(); });
  }

  release() { this.flush(); this.say({ kind: "move", values: {}, done: true, page: this.page, seq: this.next() }); }

  next() { this.seq += 1; return this.seq; }

  flush() {
    if (!this.wanted) return;
    this.say({ ...this.wanted, seq: this.next() });
    this.wanted = null;
  }

  drawn() { this.say({ kind: "drawn" }); }
}
