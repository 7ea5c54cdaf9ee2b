// Weights taken from the pan into fields, hands-free: each thing is set on and lifted off as the scale shows it.
import { html } from "./lit-html.js";
import { ask, fill, words } from "./say.js";

const w = words.weigh;
const under = (on) => on && on.wants !== "done";
/** As it would be typed. */
const typed = (v) => String(Number(v.toFixed(2 + words.units.finer)));

/** What is asked now. */
const wanted = ({ wants, thing }) => (wants === "on" ? w.put[thing] : w[wants]);

/** What is spoken of it; empty where nothing is weighed. */
export const told = (on) => (under(on) ? [on.amiss && w.amiss[on.amiss], wanted(on)].filter(Boolean).join(" ") : "");

export class Weigh {
  #soon;
  /** What takes the grams so far, and how many it has. */
  #asked = null;
  #wrong = "";
  #on = null;
  #batch = null;

  constructor(soon) {
    this.#soon = soon;
  }

  async #ask(body) {
    this.#wrong = "";
    try {
      await ask("/api/scale/weigh", body);
    } catch (error) {
      this.#asked = null;
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  #begin(things, put) {
    this.#asked = { put, had: 0, begun: false };
    return this.#ask({ things });
  }

  /** Takes what the pan shows now. */
  follow(now) {
    this.#on = now?.scale.weighed ?? null;
    this.#batch = now?.batch ?? null;
    const asked = this.#asked, on = this.#on;
    if (!asked || !on) return;
    // Of an earlier round until the one asked for has begun.
    asked.begun ||= on.grams.length === 0;
    if (!asked.begun || on.grams.length === asked.had) return;
    asked.had = on.grams.length;
    asked.put(on.shown.grams.map(typed));
    if (!under(on)) this.#asked = null;
    this.#soon();
  }

  /** Something is weighed, and nothing else is shown. */
  get under() { return under(this.#on); }

  /** A button that begins to weigh these; `what` names it where its word alone would not. */
  button(things, word, put, what = null) {
    if (this.#batch) return "";
    return html`<button type="button" class="plain weigh" aria-label=${what ? fill(w.of, { what }) : word} @click=${() => this.#begin(things, put)}>${word}</button>`;
  }

  /** One weight, into this field. */
  into(fields, key, thing, what) {
    return this.button([thing], w.one, ([g]) => { fields.typed[key] = g; }, what);
  }

  /** While it is under way it is all that matters here. */
  step() {
    const on = this.#on;
    if (!under(on)) return this.#wrong ? html`<p class="wrong" role="alert">${this.#wrong}</p>` : "";
    return html`<section class="step"><h2>${fill(w.progress, { n: Math.min(on.grams.length + 1, on.things.length), all: on.things.length })}</h2>
      <p class="ask">${wanted(on)}</p>${on.amiss ? html`<p class="amiss">${w.amiss[on.amiss]}</p>` : ""}
      <button type="button" class="plain" @click=${() => this.#ask({ off: true })}>${w.leave}</button></section>`;
  }
}
