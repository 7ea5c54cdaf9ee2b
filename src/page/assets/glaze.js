// The potter's own buckets of glaze: measured, changed, and with their history. Every number is reckoned by the daemon.
import { html } from "./lit-html.js";
import { ask, fill, grams, words } from "./say.js";
import { Fields } from "./fields.js";
import { Bucket } from "./bucket.js";
import { Hold } from "./hold.js";
import { Weigh } from "./weigh.js";
import { age, told } from "./shelf.js";

const w = words.glaze;
/** A batch's grams don't matter here: any will do to reckon what a bucket is. */
const ANY = { coat: { by: "direct", slop_g: 29 } };

export class GlazePlace {
  #soon;
  #again;
  #hold;
  #weigh;
  #fields;
  #bucket;
  #rest = {};
  #all = { glazes: [], forms: [], coats: [] };
  /** The glaze that is open; empty: a new one. None: the list. */
  #open = null;
  /** An inside or a coat that is looked at, and every version of what is open. */
  #looked = null;
  #history = [];
  #done = "measured";
  #reckoned = null;
  #said = "";
  #timer = 0;
  #wrong = "";

  constructor(soon, again) {
    this.#soon = soon;
    this.#again = again;
    this.#hold = new Hold(soon);
    this.#weigh = new Weigh(() => { this.#later(); soon(); });
    this.#fresh({});
  }

  #fresh(what) {
    this.#fields = new Fields(() => { this.#later(); this.#soon(); });
    this.#bucket = new Bucket(this.#fields, () => { this.#later(); this.#soon(); }, this.#weigh);
    if (what.glaze) this.#bucket.put(what.glaze);
    const { glaze: _bucket, slop_g, cup_s, deflocculant, sieved, came_g: _came, there_g: _there, ...rest } = what;
    // What was kept of it in other ways stays, but for slop that came then.
    this.#rest = rest;
    this.#fields.put({ slop_g: what.shown?.slop_g ?? slop_g, cup_s, deflocculant, sieved });
    this.#reckoned = null;
  }

  async open() {
    try {
      this.#all = await ask("/api/shelves");
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  #what() {
    const what = { ...this.#rest, glaze: this.#bucket.request() };
    for (const key of ["slop_g", "cup_s"]) if (this.#fields.text(key)) what[key] = this.#fields.told(key);
    for (const key of ["deflocculant", "sieved"]) if (this.#fields.text(key)) what[key] = this.#fields.text(key);
    return what;
  }

  /** Reckons again once the typing rests. */
  #later = () => {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#reckon(), 250);
    this.#reckoned = null;
  };

  async #reckon() {
    const form = document.querySelector("form");
    if (!form) return;
    this.#fields.wrong = null;
    if ([...form.querySelectorAll("[data-number]")].every((input) => input.checkValidity())) {
      try {
        const wanted = this.#fields.text("wanted_gravity") ? { wanted: this.#wanted() } : {};
        this.#reckoned = await ask("/api/target", { glaze: this.#bucket.request(), ...wanted, ...ANY });
      } catch (error) {
        this.#fields.wrong = error;
      }
    }
    this.#soon();
  }

  /** How the slop should be: what to add is told for what is in the bucket. */
  #wanted() {
    const slop = this.#fields.text("slop_g") ? { slop_g: this.#fields.told("slop_g") } : {};
    return { specific_gravity: this.#fields.number("wanted_gravity"), ...slop };
  }

  async #try(what) {
    this.#fields.wrong = null;
    this.#said = this.#wrong = "";
    try {
      await what();
    } catch (error) {
      this.#fields.wrong = error;
      // What no field here can show.
      if (!error.field || this.#open === null) this.#wrong = fill(words.not_done, { why: error.message });
    }
    await this.open();
  }

  #keep = (event) => {
    event.preventDefault();
    const name = this.#open || this.#fields.text("name");
    const note = this.#open ? w.done[this.#done] : w.done.fresh;
    return this.#try(async () => {
      const kept = await ask("/api/shelves", { shelf: "glaze", name, what: this.#what(), note });
      this.#said = fill(w.kept, { name, n: kept.version });
      this.#open = null;
    });
  };

  #off(shelf, name) {
    return this.#try(async () => {
      await ask("/api/shelves", { shelf, name, what: null, note: w.taken_off });
      this.#said = fill(w.gone, { name });
      this.#open = this.#looked = null;
    });
  }

  #pourBy(batch) {
    return this.#try(async () => {
      const { shown } = await ask(`/api/batches/${batch.id}/bucket`, {});
      this.#said = fill(w.pours_by, { grams: grams(shown.target_g) });
      this.#again();
    });
  }

  #choose(name) {
    this.#open = name;
    this.#said = this.#wrong = "";
    this.#done = "measured";
    this.#fresh(this.#all.glazes.find((glaze) => glaze.name === name)?.what ?? {});
    if (name) this.#later();
    this.#recall("glaze", name);
    this.#soon();
  }

  /** Every version, the newest first. */
  async #recall(shelf, name) {
    this.#history = [];
    if (!name) return;
    try {
      this.#history = await ask(`/api/shelves/${shelf}/${encodeURIComponent(name)}`);
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  #past() {
    const row = (one) => html`<li><b>${[fill(w.version, { n: one.version }), one.note, age(one.made_at)].filter(Boolean).join(" · ")}</b>
      <span class="told">${told(one)}</span></li>`;
    return this.#history.length ? this.#fields.folded(fill(w.history, { n: this.#history.length }), html`<ul class="shelf">${this.#history.map(row)}</ul>`) : "";
  }

  #look(thing) {
    this.#looked = thing;
    this.#said = this.#wrong = "";
    if (thing) this.#recall(thing.shelf, thing.name);
    this.#soon();
  }

  /** One inside or coat. */
  #other() {
    const thing = this.#looked;
    return html`<section><h2>${thing.name}</h2><p class="told">${told(thing)}</p>${this.#past()}
      <p class="acts"><button class="plain" @click=${() => this.#look(null)}>${w.back}</button></p>
      ${this.#hold.button(`off ${thing.shelf} ${thing.name}`, fill(w.off, { name: thing.name }), words.batch.ending, () => this.#off(thing.shelf, thing.name))}</section>`;
  }

  /** A batch under way goes by an older version of this glaze. */
  #older(batch, now) {
    const glaze = batch && this.#all.glazes.find(({ name }) => name === batch.glaze_name);
    // Slop that came is a version too, which the batch goes by at once.
    const by = now?.bucket ?? null;
    if (!glaze || by === null || by >= glaze.version) return "";
    return html`<section class="step"><h2>${w.under_way}</h2><p>${fill(w.older, { name: glaze.name, batch: batch.name })}</p>
      ${this.#hold.button(batch.id, w.pour_by, words.batch.ending, () => this.#pourBy(batch))}</section>`;
  }

  #list() {
    const row = (glaze) => html`<li><button class="plain" @click=${() => this.#choose(glaze.name)}>${glaze.name}</button>
      <span class="told">${told(glaze)}</span><span class="known">${[fill(w.version, { n: glaze.version }), glaze.note, age(glaze.made_at)].filter(Boolean).join(" · ")}</span></li>`;
    return html`${this.#all.glazes.length ? html`<ul class="shelf">${this.#all.glazes.map(row)}</ul>` : html`<p>${w.none}</p>`}
      <p class="acts"><button @click=${() => this.#choose("")}>${w.another}</button></p>
      ${this.#others()}`;
  }

  #others() {
    const row = (thing) => html`<li><button class="plain" @click=${() => this.#look(thing)}>${thing.name}</button><span class="told">${told(thing)}</span></li>`;
    const of = (head, things) => (things.length ? html`<section><h2>${head}</h2><ul class="shelf">${things.map(row)}</ul></section>` : "");
    return html`${of(w.forms, this.#all.forms)}${of(w.coats, this.#all.coats)}
      <section><h2>${w.text}</h2><p>${w.text_what}</p><p class="acts"><a class="button" href="/api/shelves.toml" download="tarebell-shelves.toml">${w.text_out}</a></p>
      <label>${w.text_in}<input type="file" accept=".toml,text/plain" @change=${this.#takeIn}></label></section>`;
  }

  #takeIn = (event) => {
    const file = event.target.files[0];
    return file && this.#try(async () => {
      const { added, there_already } = await ask("/api/shelves/import", { toml: await file.text() });
      this.#said = fill(w.taken_in, { n: added, there: there_already });
      event.target.value = "";
    });
  };

  #result() {
    const r = this.#reckoned;
    if (!r || r.solids_fraction === null) return "";
    const density = r.slop_density_g_ml === null ? "" : ` · ${fill(w.density, { density: r.slop_density_g_ml.toFixed(3) })}`;
    return html`<p class="result">${fill(words.batch.solids, { solids: (100 * r.solids_fraction).toFixed(1) })}${density}</p>
      ${r.change ? html`<p class="result">${this.#change(r.change)}</p>` : ""}
      ${r.warnings.map((warning) => html`<p class="warning">${warning}</p>`)}`;
  }

  /** To be thinner or thicker. */
  #change(change) {
    const { shown } = change;
    const of = { grams: grams(shown.slop_g), sg: change.wanted_specific_gravity };
    const way = change.add_water_g > 0 ? fill(w.add_water, { water: grams(shown.add_water_g) })
      : fill(w.add_powder, { powder: grams(shown.add_powder_g), clear: grams(shown.take_clear_g) });
    return fill(change.whole_bucket ? w.change : w.change_of, { ...of, way });
  }

  #form() {
    const f = this.#fields, free = { free: true, hint: words.batch.may_lack };
    const { fresh: _new, ...done } = w.done;
    return html`<form @submit=${this.#keep} @input=${this.#later}><h2>${this.#open || w.new_head}</h2>
      ${this.#open ? f.choice("done", w.what_done, done, this.#done, (key) => { this.#done = key; }) : f.field("name", w.name, { text: true, hint: w.name_hint })}
      ${this.#bucket.show()}${this.#result()}
      ${f.field("slop_g", w.slop, free)}${f.field("wanted_gravity", w.wanted, free)}${f.field("cup_s", w.cup, free)}
      ${f.field("deflocculant", w.deflocculant, { ...free, text: true })}${f.field("sieved", w.sieved, { ...free, text: true })}
      <button>${w.keep}</button></form>
      ${this.#past()}
      <p class="acts"><button class="plain" @click=${() => { this.#open = null; this.#soon(); }}>${w.back}</button></p>
      ${this.#open ? this.#hold.button(`off ${this.#open}`, fill(w.off, { name: this.#open }), words.batch.ending, () => this.#off("glaze", this.#open)) : ""}`;
  }

  /** The whole place. */
  show({ batch, live: { now } }) {
    this.#weigh.follow(now);
    const step = this.#weigh.step();
    return html`<div class="place"><h1>${words.places.glaze}</h1>
      <p class="said" role="status">${this.#said}</p><p class="wrong" role="alert">${this.#wrong}</p>
      ${step}${this.#weigh.under ? "" : this.#looked ? this.#other() : this.#open === null ? html`${this.#older(batch, now)}${this.#list()}` : this.#form()}</div>`;
  }
}
