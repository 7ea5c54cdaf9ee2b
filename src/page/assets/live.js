// The live stream: keeps the newest snapshot and says when it can't be believed any more.
// Silence is trouble: nothing here ever keeps an old picture up.

/** A snapshot older than this is trouble; the daemon sends one at least every 200 ms. */
const OLD_MS = 1000;
const RETRY_MS = 400;

export class Live {
  now = null;
  connected = false;
  #came = -Infinity;
  #offset = Infinity;
  #run = "";
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
    this.#came = performance.now();
    if (message.run !== this.#run) {
      this.#run = message.run;
      this.#offset = Infinity;
    }
    this.#offset = Math.min(this.#offset, this.#came - message.at_us / 1000);
    this.now = message;
    this.#changed();
  }

  #connect() {
    const socket = new WebSocket(`ws://${location.host}/api/live`);
    socket.onopen = () => { this.connected = true; };
    socket.onmessage = (event) => this.#told(JSON.parse(event.data));
    socket.onclose = () => {
      this.connected = false;
      this.#changed();
      setTimeout(() => this.#connect(), RETRY_MS);
    };
  }
}
