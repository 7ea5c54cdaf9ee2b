// Setting a batch up, beginning and ending it. The grams come first; bucket and coat are one tap away.
import { html } from "./lit-html.js";
import { ask, fill, grams, words } from "./say.js";
import { going } from "./begun.js";
import { Fields } from "./fields.js";
import { Hold } from "./hold.js";
import { moment } from "./picture.js";
import { slop } from "./pour.js";
import { Setup } from "./setup.js";
import { Weigh } from "./weigh.js";

const w = words.batch;

export class BatchPlace {
  #soon;
  #setup;
  #hold;
  #slop;
  #weigh;
  #begun;
  #reckoned = null;
  #said = "";
  #waiting = [];
  #timer = 0;

  constructor(soon, begun) {
    this.#soon = soon;
    this.#begun = begun;
    this.#hold = new Hold(soon);
    this.#slop = new Fields(soon);
    this.#weigh = new Weigh(() => { this.#later(); soon(); });
    this.#setup = new Setup(() => { this.#later(); soon(); }, this.#weigh);
  }

  async open() {
    // What was refused before another place was looked at is past.
    this.#setup.wrong = null;
    try {
      const [all, shelves] = await Promise.all([ask("/api/batches"), ask("/api/shelves")]);
      this.#setup.know(all, shelves);
      this.#waiting = all.filter((b) => !b.begun_at).slice(0, 5);
    } catch (error) {
      this.#setup.wrong = error;
    }
    this.#soon();
  }

  /** Reckons again once the typing rests. */
  #later = () => {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#reckon(), 250);
    // What was reckoned from other numbers is not shown beside these.
    this.#reckoned = null;
    this.#soon();
  };

  async #reckon() {
    const form = document.querySelector("form");
    if (!form) return;
    this.#setup.wrong = null;
    this.#reckoned = null;
    if ([...form.querySelectorAll("[data-number]")].every((input) => input.checkValidity())) {
      try {
        this.#reckoned = await ask("/api/target", this.#setup.target());
      } catch (error) {
        this.#setup.wrong = error;
      }
    }
    this.#soon();
  }

  #begin = async (event) => {
    event.preventDefault();
    clearTimeout(this.#timer);
    await this.#try(async () => {
      for (const thing of this.#setup.kept()) await ask("/api/shelves", thing);
      await this.#start((await ask("/api/batches", this.#setup.batch())).id);
    });
    // Shown first, then gone to.
    requestAnimationFrame(() => document.querySelector("form [aria-invalid]")?.focus());
  };

  async #start(id) {
    const begun = await ask(`/api/batches/${id}/begin`, {});
    this.#reckoned = null;
    const told = begun.expected;
    const expected = told && fill(w.expected, { near: grams(told.shown.near_g), flow: grams(told.shown.flow_g_s) });
    this.#said = [w.begun, expected, ...begun.warnings].filter(Boolean).join(" ");
  }

  async #try(what) {
    this.#setup.wrong = null;
    this.#said = "";
    try {
      await what();
      await this.open();
    } catch (error) {
      this.#setup.wrong = error;
      this.#soon();
    }
  }

  #goOn(id) {
    return this.#try(async () => {
      this.#said = [w.goes_on, ...(await this.#begun.goOn(id))].join(" ");
    });
  }

  #end(id) {
    return this.#try(async () => {
      const ended = await ask(`/api/batches/${id}/end`, {});
      this.#said = [w.ended, ...ended.warnings].join(" ");
      await this.#begun.load();
    });
  }

  #skip(id) {
    return this.#try(async () => {
      const { left_out } = await ask(`/api/batches/${id}/skip`, {});
      this.#said = fill(w.skipped, { piece: left_out });
    });
  }

  /** There is slop again: `name` says whether it is told as a whole or as what was added. */
  #refill(id, name) {
    return this.#try(async () => {
      if (Number.isNaN(this.#slop.number("slop_g"))) throw Object.assign(new Error(w.refill_missing), { field: "slop_g" });
      const left = await ask(`/api/batches/${id}/refill`, { [name]: this.#slop.told("slop_g") });
      this.#slop.typed = {};
      this.#said = fill(w.refilled, { slop: slop(left) });
    });
  }

  #result() {
    const r = this.#reckoned;
    if (!r) return "";
    const parts = [
      fill(w.reckoned, { target: grams(r.shown.target_g), low: grams(r.shown.low_g), high: grams(r.shown.high_g) }),
      r.dry_g !== null && fill(w.dry, { dry: grams(r.shown.dry_g) }),
      r.wet_film_mm !== null && fill(w.film, { film: r.wet_film_mm.toFixed(2) }),
      r.solids_fraction !== null && fill(w.solids, { solids: (100 * r.solids_fraction).toFixed(1) }),
      r.layers && fill(w.layers, { dry: r.layers.dry_mm.toFixed(2), fired: r.layers.fired_mm.toFixed(2) }),
      r.supply && this.#enough(r.supply),
      r.ladder_g.length > 0 && fill(w.ladder, { list: r.shown.ladder_g.map(grams).join(", ") }),
    ];
    return html`<p class="result">${parts.filter(Boolean).join(" · ")}</p>
      ${r.warnings.map((warning) => html`<p class="warning">${warning}</p>`)}
      ${r.largest_doubt ? html`<p class="told">${r.largest_doubt}</p>` : ""}${this.#working(r)}`;
  }

  #enough({ enough_for, runs_out_at, shown: { short_g } }) {
    return runs_out_at === null ? fill(w.enough, { n: enough_for }) : fill(w.runs_out, { n: runs_out_at, grams: grams(short_g) });
  }

  /** Line by line, for who wants to check it by hand. */
  #working({ steps, assumed, layers }) {
    const taken = assumed.map(({ what, value }) => `${what} = ${value}`).join(" · ");
    return html`<details class="working"><summary>${w.working}</summary><ol>${steps.map((s) => html`<li>${s.what}: ${s.working} = <b>${s.result}</b></li>`)}</ol>
      ${layers ? layers.assumptions.map((a) => html`<p>${a}</p>`) : ""}
      ${taken ? html`<p>${fill(w.assumed, { taken })}</p>` : ""}</details>`;
  }

  /** What no field can show. */
  #refusal() {
    const { wrong } = this.#setup;
    if (!wrong || this.#setup.placed(document.querySelector("form"))) return "";
    return html`<p class="wrong" role="alert">${fill(words.not_done, { why: wrong.message })}</p>`;
  }

  #form(now) {
    return html`<form @submit=${this.#begin} @input=${this.#later}><h2>${w.begin_head}</h2>
      ${this.#setup.fields(this.#result(), now)}
      ${this.#refusal()}
      <button>${w.begin}</button>
    </form>`;
  }

  /** What is left of the slop, and more of it. */
  #jug(id, supply) {
    const more = (name, word) => html`<button type="button" class="plain" data-refill=${name} @click=${() => this.#refill(id, name)}>${word}</button>`;
    return html`<p>${slop(supply)}</p><div class="fields">${this.#slop.field("slop_g", w.refill, { free: true })}</div>
      <p class="acts">${more("now_g", w.refill_now)}</p><p class="acts">${more("added_g", w.refill_added)}</p>`;
  }

  #underWay({ batch, live: { now } }) {
    return html`<section><h2>${w.under_way}</h2><p class="name">${batch.name}</p>
      <p>${fill(words.target_line, { target: grams(now.shown.target_g), low: grams(now.shown.low_g), high: grams(now.shown.high_g) })}</p>
      ${batch.glaze_name ? html`<p>${fill(w.of_glaze, { glaze: batch.glaze_name })}</p>` : ""}
      ${now.jug ? html`<p>${now.jug.says}${now.jug.at ? ` ${fill(w.jug_at, { time: moment(now.jug.at) })}` : ""}</p>` : ""}${now.supply ? this.#jug(batch.id, now.supply) : ""}
      ${this.#hold.button(batch.id, w.end, w.ending, () => this.#end(batch.id))}
      ${this.#hold.button(`skip ${batch.id}`, fill(w.skip, { piece: now.piece }), w.ending, () => this.#skip(batch.id))}</section>`;
  }

  /** Begun before the daemon's start: most likely what the potter came for. */
  #unended() {
    if (!this.#begun.list.length) return "";
    return html`<section class="begun"><h2>${w.begun_head}</h2>${this.#begun.list.map((b) => html`<p class="acts"><button
      @click=${() => this.#goOn(b.id)}>${going(b)}</button></p>
      ${this.#hold.button(b.id, fill(w.end_one, { name: b.name }), w.ending, () => this.#end(b.id))}`)}</section>`;
  }

  #drafts() {
    if (!this.#waiting.length) return "";
    return html`<section><h2>${w.waiting}</h2>${this.#waiting.map((b) => html`<p class="acts"><button class="plain"
      @click=${() => this.#try(() => this.#start(b.id))}>${fill(w.again, { name: b.name })}</button></p>`)}</section>`;
  }

  /** The whole place. */
  show(state) {
    const under = state.batch && state.live.now?.batch;
    this.#weigh.follow(state.live.now);
    const step = this.#weigh.step();
    return html`<div class="place"><h1>${words.places.batch}</h1>
      <p class="said" role="status">${this.#said}</p>
      ${under ? [this.#underWay(state), this.#refusal()] : html`${step}${this.#weigh.under ? "" : [this.#unended(), this.#form(state.live.now), this.#drafts()]}`}</div>`;
  }
}
