// The socket: who we are is said first, moves are sent newest alone, and a lost server is looked for again.
const RETRY_MS = [300, 600, 1200, 2500, 5000, 10000];
const hex = (bytes) => [...new Uint8Array(bytes)].map((one) => one.toString(16).padStart(2, "0")).join("");

// The keyed hash by which a program shows that it knows our token (RFC 2104 with SHA-256).
async function keyedHash(token, words) {
  const letters = new TextEncoder(), key = await crypto.subtle.importKey("raw", letters.encode(token), { name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
  return hex(await crypto.subtle.sign("HMAC", key, letters.encode(words)));
}

class Link {
  constructor(path, heard) {
    this.address = `ws://${location.host}${path}`;
    this.heard = heard; // { text, frame, state }
    this.page = Math.random().toString(36).slice(2, 10);
    this.token = location.hash.slice(1).split("&")[0];
    this.seq = 0; this.tries = 0; this.wanted = null; this.unanswered = 0; this.frames = 0;
    document.addEventListener("visibilitychange", () => { this.look(); if (!document.hidden) this.hurry(); });
    this.open();
  }

  get up() { return this.met && this.socket.readyState === WebSocket.OPEN; }

  open() {
    if (!this.token) { this.heard.state("no-token"); return; }
    clearTimeout(this.again);
    const socket = new WebSocket(this.address);
    this.socket = socket; this.met = false;
    socket.binaryType = "arraybuffer";
    socket.addEventListener("open", () => {
      if (!crypto.subtle) { this.meet(); return; }
      this.thrown = hex(crypto.getRandomValues(new Uint8Array(16)));
      socket.send(JSON.stringify({ thrown: this.thrown }));
    });
    socket.addEventListener("message", (event) => {
      if (!this.met) { this.hearProof(socket, event.data); return; }
      if (typeof event.data === "string") this.heard.text(JSON.parse(event.data));
      else { this.frames += 1; this.heard.frame(event.data); }
    });
    socket.addEventListener("close", (event) => {
      if (socket !== this.socket) return;
      this.heard.state(event.code === 1008 || this.stranger ? "refused" : "lost");
      if (event.code === 1008) return;
      const wait = RETRY_MS[Math.min(this.tries, RETRY_MS.length - 1)];
      this.tries += 1;
      this.again = setTimeout(() => this.open(), wait);
    });
  }

  // Whoever answers is told our token only after having shown that it is known there: another program may have the port.
  async hearProof(socket, text) {
    let proofs = [];
    try { proofs = JSON.parse(text).proofs; } catch { /* no proof */ }
    const proof = await keyedHash(this.token, `bounceplan ${location.host} ${this.thrown}`);
    if (socket !== this.socket) return;
    this.stranger = !Array.isArray(proofs) || !proofs.includes(proof);
    if (this.stranger) socket.close(); else this.meet();
  }

  meet() {
    this.met = true; this.tries = 0; this.unanswered = 0; this.opened = true;
    this.socket.send(JSON.stringify({ token: this.token, page: this.page }));
    this.heard.state("open");
    if (document.hidden) this.look();
  }

  say(message) { if (this.up) this.socket.send(JSON.stringify(message)); }

  // Nobody looks at a hidden page: it is sent nothing until somebody does.
  look() { this.say({ kind: document.hidden ? "pause" : "go" }); }

  // Somebody looks again at a page that lost its server: it is looked for at once.
  hurry() { if (this.socket?.readyState === WebSocket.CLOSED && this.again) { this.tries = 0; this.open(); } }

  // The newest place of a drag, at most once for each picture of the screen.
  move(values, options = {}) {
    const same = this.wanted && Object.keys(this.wanted.values).join() === Object.keys(values).join();
    if (this.wanted && !same) this.flush();
    this.wanted = { kind: "move", values, fine: Boolean(options.fine), alone: Boolean(options.alone), page: this.page };
    if (options.done) { this.wanted.done = true; this.flush(); return; }
    if (this.due) return;
    this.due = requestAnimationFrame(() => { this.due = 0; this.flush(); });
  }

  release() { this.flush(); if (this.up) this.underWay = null; this.say({ kind: "move", values: {}, done: true, page: this.page, seq: this.next() }); }

  next() { this.seq += 1; return this.seq; }

  flush() {
    if (!this.wanted) return;
    const { values, fine, alone } = this.wanted;
    this.underWay = { values: { ...this.underWay?.values, ...values }, fine, alone };
    this.say({ ...this.wanted, seq: this.next() });
    if (this.wanted.done) this.underWay = null;
    this.wanted = null;
  }

  drawn() { this.say({ kind: "drawn" }); }
}
