// The live stream: keeps the newest snapshot and says when it can't be believed any more.
// Silence is trouble: nothing here ever keeps an old picture up.

/** A snapshot older than this is trouble; the daemon sends one at least every 200 ms. */
const OLD_MS = 1000;
const RETRY_MS = 400;
/** Two clocks part by less than this share; so much may the quickest message's lead be forgotten. */
const DRIFT = 0.0005;

export class Live {
  now = null;
  connected = false;
  /** When the phase began, by the daemon's clock. */
  since_us = 0;
  #came = -Infinity;
  #offset = Infinity;
  #changed;
  #pour;

  constructor(changed, pour) {
    this.#changed = changed;
    this.#pour = pour;
    this.#connect();
  }

  /** True while what is shown may be acted on. */
  fresh() {
    return this.connected && this.now !== null && this.age() < OLD_MS;
  }

  /** The newest snapshot's age: since it came, and how late it came against the quickest one. */
  age() {
    const late = this.now ? this.#came - this.now.at_us / 1000 - this.#offset : 0;
    return performance.now() - this.#came + Math.max(0, late);
  }

  #told(message) {
    if (message.kind === "pour") return this.#pour(message);
    if (message.kind !== "now") return;
    const came = performance.now();
    const drift = this.now ? DRIFT * (came - this.#came) : 0;
    this.#came = came;
    this.#offset = Math.min(this.#offset + drift, came - message.at_us / 1000);
    if (message.phase !== this.now?.phase) this.since_us = message.at_us;
    this.now = message;
    this.#changed();
  }

  #connect() {
    const socket = new WebSocket(`ws://${location.host}/api/live?shown`);
    // Another run, or a sleep between: its clock starts anew, and what came before is old.
    socket.onopen = () => { this.connected = true; this.#offset = Infinity; this.#came = -Infinity; };
    socket.onmessage = (event) => this.#told(JSON.parse(event.data));
    socket.onclose = () => {
      this.connected = false;
      this.#changed();
      setTimeout(() => this.#connect(), RETRY_MS);
    };
  }
}
