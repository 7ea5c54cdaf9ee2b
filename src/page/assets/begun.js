// Batches that were begun and not ended, while none is under way: after a restart of the daemon.
import { html } from "./lit-html.js";
import { ask, fill, words } from "./say.js";

/** Another tab may have ended one: the daemon is asked again this often. */
const AGAIN_MS = 10_000;

export class Begun {
  #soon;
  #asked = -Infinity;
  #loading = false;
  #known = "";
  /** Each with how many of its pieces were poured; the one begun last comes first. */
  list = [];
  /** Why it could not be gone on with. */
  wrong = "";

  constructor(soon) {
    this.#soon = soon;
  }

  /** Looks again, as long as none is under way. */
  follow(live) {
    if (!live.fresh()) return;
    const { run, batch } = live.now;
    const changed = this.#known !== `${run} ${batch}`;
    this.#known = `${run} ${batch}`;
    if (batch) this.list = [];
    else if (!this.#loading && (changed || performance.now() - this.#asked > AGAIN_MS)) this.load();
  }

  async load() {
    this.#loading = true;
    try {
      const open = (await ask("/api/batches")).filter((b) => b.begun_at && !b.ended_at);
      open.sort((a, b) => b.begun_at.localeCompare(a.begun_at));
      this.list = await Promise.all(open.map(async (b) => {
        const pours = await ask(`/api/batches/${b.id}/pours`);
        return { ...b, poured: pours.filter((p) => p.rev >= 1 && p.verdict !== "void").length };
      }));
    } catch {
      // No daemon, no list: the place Pour says what is wrong.
      this.list = [];
    }
    this.#loading = false;
    this.#asked = performance.now();
    this.#soon();
  }

  /** Goes on with one; gives the daemon's warnings. */
  async goOn(id) {
    const begun = await ask(`/api/batches/${id}/begin`, {});
    this.list = [];
    return begun.warnings;
  }

  #tap = async (id) => {
    this.wrong = "";
    try {
      await this.goOn(id);
    } catch (error) {
      this.wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  };

  /** One big button for the place Pour. */
  button() {
    const [b] = this.list;
    return html`<button type="button" class="go-on" @click=${() => this.#tap(b.id)}>${going(b)}</button>
      ${this.wrong ? html`<p class="do" role="alert">${this.wrong}</p>` : ""}`;
  }
}

/** What the button says. */
export const going = (b) => fill(b.foreseen === null ? words.go_on_open : b.poured > b.foreseen ? words.go_on_more : words.go_on, { name: b.name, n: b.poured, pieces: b.pieces });
