// Changes on their way to the server. Each is kept in the browser until the server has said that it is on its disk;
// while the server is away they wait and are sent again. One after the other, in order.

const PLACE = "elbowroom.outbox.";
const LONGEST_WAIT_MS = 8000;

export class Outbox extends EventTarget {
  constructor() {
    super();
    this.token = document.querySelector('meta[name="csrf-token"]').content;
    this.who = null; // known once the server was asked
    this.changes = [];
    this.running = false;
    this.trouble = "";
    addEventListener("beforeunload", (event) => { if (this.changes.length) event.preventDefault(); });
    addEventListener("online", () => this.wake());
  }

  /** Take up what an earlier visit of the same person could not send. */
  async begin() {
    await this.learn();
    const kept = [];
    for (let i = 0; i < localStorage.length; i++) {
      const key = localStorage.key(i);
      if (key.startsWith(PLACE)) kept.push({ key, ...JSON.parse(localStorage.getItem(key)) });
    }
    kept.sort((a, b) => (a.key < b.key ? -1 : 1));
    this.changes.push(...kept.filter((one) => one.who === this.who && !this.changes.some((own) => own.key === one.key)));
    const others = kept.filter((one) => one.who !== this.who);
    if (others.length) this.tell("others", { count: others.length, who: others[0].who });
    this.said();
    this.run();
  }

  async learn() {
    try {
      const answer = await fetch("/api/me", { headers: { Accept: "application/json" } });
      if (answer.ok) {
        const told = await answer.json();
        this.token = told.token;
        this.who = told.who;
      }
      return answer.status;
    } catch { return 0; }
  }

  /** Send a change: {tag, path, body, words}. Later changes of a tag stand on earlier ones of this page. */
  send(change) {
    const key = `${PLACE}${String(Date.now()).padStart(15, "0")}-${String((this.count = (this.count ?? 0) + 1)).padStart(5, "0")}-${Math.random().toString(36).slice(2, 8)}`;
    const kept = { key, who: this.who, at: Date.now(), ...change };
    this.changes.push(kept);
    this.keep(kept);
    this.said();
    this.run();
    return key;
  }

  waiting(tag) { return this.changes.filter((one) => one.tag === tag); }

  keep(change) {
    const { key, ...rest } = change;
    try { localStorage.setItem(key, JSON.stringify(rest)); }
    catch { this.trouble = "This browser keeps nothing, so leave the page open until everything is saved."; }
  }

  drop(change) {
    localStorage.removeItem(change.key);
    this.changes = this.changes.filter((one) => one !== change);
  }

  tell(name, detail) { this.dispatchEvent(new CustomEvent(name, { detail })); }
  said() { this.tell("state", { waiting: this.changes.length, trouble: this.trouble }); }
  wake() { this.hurry?.(); }

  pauseFor(ms) {
    return new Promise((done) => { const timer = setTimeout(done, ms); this.hurry = () => { clearTimeout(timer); done(); }; });
  }

  async run() {
    if (this.running) return;
    this.running = true;
    let wait = 400;
    while (this.changes.length) {
      const change = this.changes[0];
      const outcome = await this.deliver(change);
      if (outcome === "again") {
        this.said();
        await this.pauseFor(wait);
        wait = Math.min(wait * 1.7, LONGEST_WAIT_MS);
        continue;
      }
      wait = 400;
      this.trouble = "";
      this.said();
    }
    this.running = false;
    this.said();
  }

  async deliver(change) {
    let answer, told;
    try {
      answer = await fetch(change.path, {
        method: "POST",
        headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRF-Token": this.token },
        body: JSON.stringify(change.body),
        signal: AbortSignal.timeout?.(15000),
      });
      told = await answer.json();
    } catch {
      this.trouble = "The server does not answer; nothing is lost, it is tried again.";
      return "again";
    }
    if (answer.ok) {
      this.drop(change);
      for (const later of this.changes)
        if (later.tag === change.tag && "revision" in later.body) { later.body.revision = told.revision; this.keep(later); }
      this.tell("saved", { change, told });
      return "done";
    }
    if (answer.status === 409 && told.current) {
      const mine = this.changes.filter((one) => one.tag === change.tag);
      for (const one of mine) this.drop(one);
      this.tell("conflict", { mine, current: told.current, last: told.last, error: told.error });
      return "done";
    }
    if (answer.status === 401) {
      this.trouble = "Your login has ended; log in again in another tab, nothing is lost.";
      this.tell("login", {});
      return "again";
    }
    if (answer.status === 403) {
      const before = this.who;
      const status = await this.learn();
      if (this.who !== before && before !== null && change.who === before) {
        this.trouble = `This was decided as ${before}, and you are ${this.who} now; become ${before} again to save it.`;
        return "again";
      }
      this.trouble = status === 200 ? "" : "The server does not take changes from this page just now; it is tried again.";
      change.tries = (change.tries ?? 0) + 1;
      return change.tries < 20 ? "again" : this.refuse(change, told);
    }
    if (answer.status === 429 || answer.status >= 500) {
      this.trouble = told.error || "The server is busy; it is tried again.";
      return "again";
    }
    return this.refuse(change, told);
  }

  /** The server will never take it: say so, with what was to be changed. */
  refuse(change, told) {
    this.drop(change);
    this.tell("refused", { change, error: told.error || "The server refused it." });
    return "done";
  }
}
