// Setting a batch up, beginning and ending it. The grams come first; bucket and coat are one tap away.
import { html, nothing } from "./lit-html.js";
import { ask, fill, grams, words } from "./say.js";

const w = words.batch;
/** How long the end must be held: a splash or a sleeve does not hold that long. */
const HOLD_MS = 1000;
const SHAPES = {
  area: ["area_cm2", w.area],
  cylinder: ["diameter_mm", w.diameter, "height_mm", w.height],
  bowl: ["diameter_mm", w.diameter, "depth_mm", w.depth],
  cone: ["bottom_mm", w.bottom, "top_mm", w.top, "height_mm", w.height],
};

/** What a refused field is called on the page. */
const CALLED = {
  slop_g: w.grams, grams: w.tolerance, pieces: w.pieces, name: w.name, pourer: w.pourer,
  specific_gravity: w.specific_gravity, powder_density_g_ml: w.powder_density, dry_g_per_cm2: w.coat,
};

const value = (form, name) => Number(form.elements[name].value.replace(",", "."));

export class BatchPlace {
  #soon;
  #by = "grams";
  #shape = "area";
  #reckoned = null;
  #wrong = null;
  #said = "";
  #waiting = [];
  #timer = 0;
  #hold = 0;

  constructor(soon) {
    this.#soon = soon;
  }

  async open() {
    try {
      const all = await ask("/api/batches");
      this.#waiting = all.filter((b) => !b.ended_at).slice(0, 5);
    } catch (error) {
      this.#wrong = error;
    }
    this.#soon();
  }

  /** The request as the form stands; null while it is not filled in. */
  #request(form) {
    const tolerance = { grams: value(form, "grams") };
    if (this.#by === "grams") return { coat: { by: "direct", slop_g: value(form, "slop_g") }, tolerance };
    const inside = { by: this.#shape };
    SHAPES[this.#shape].forEach((name, i) => { if (i % 2 === 0) inside[name] = value(form, name); });
    return {
      glaze: { by: "density", specific_gravity: value(form, "specific_gravity"), powder_density_g_ml: value(form, "powder_density_g_ml") },
      form: inside,
      coat: { by: "dry", dry_g_per_cm2: value(form, "dry_g_per_cm2") },
      tolerance,
    };
  }

  #changed = (event) => {
    const form = event.currentTarget;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#reckon(form), 250);
    // What was reckoned from other numbers is not shown beside these.
    this.#reckoned = null;
    this.#soon();
  };

  async #reckon(form) {
    this.#wrong = null;
    this.#reckoned = null;
    const numbers = [...form.querySelectorAll("[data-number]")];
    if (numbers.every((input) => input.checkValidity())) {
      try {
        this.#reckoned = await ask("/api/target", this.#request(form));
      } catch (error) {
        this.#wrong = error;
      }
    }
    this.#soon();
  }

  #begin = async (event) => {
    event.preventDefault();
    const form = event.currentTarget;
    const body = { ...this.#request(form), name: form.elements.name.value, pieces: value(form, "pieces") };
    const pourer = form.elements.pourer.value.trim();
    if (pourer) body.pourer = pourer;
    await this.#try(async () => this.#start((await ask("/api/batches", body)).id));
  };

  async #start(id) {
    const begun = await ask(`/api/batches/${id}/begin`, {});
    this.#said = [w.begun, ...begun.warnings].join(" ");
  }

  async #try(what) {
    this.#wrong = null;
    this.#said = "";
    try {
      await what();
    } catch (error) {
      this.#wrong = error;
    }
    await this.open();
  }

  #press(id) {
    if (this.#hold) return;
    this.#hold = setTimeout(() => {
      this.#hold = 0;
      this.#try(async () => {
        const ended = await ask(`/api/batches/${id}/end`, {});
        this.#said = [w.ended, ...ended.warnings].join(" ");
      });
    }, HOLD_MS);
    this.#soon();
  }

  #release = () => {
    clearTimeout(this.#hold);
    this.#hold = 0;
    this.#soon();
  };

  #key(event, id) {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) this.#press(id);
  }

  #field(name, label, start, more = {}) {
    const wrong = this.#wrong?.field?.split(".").pop() === name;
    return html`<label>${label}<input name=${name} value=${start} inputmode=${more.text ? "text" : "decimal"}
      pattern=${more.text ? nothing : "[0-9]+([.,][0-9]+)?"} ?data-number=${!more.text} ?required=${!more.free}
      maxlength="80" autocomplete="off" placeholder=${more.hint ?? nothing} aria-invalid=${wrong ? "true" : nothing}
      aria-describedby=${wrong ? "wrong" : nothing}></label>`;
  }

  #choice(name, of, now, choose) {
    return Object.entries(of).map(([key, label]) => html`<label class="choice"><input type="radio" name=${name}
      value=${key} .checked=${key === now} @change=${() => { choose(key); this.#soon(); }}>${label}</label>`);
  }

  #bucket() {
    const shapes = { area: w.form_area, cylinder: w.form_cylinder, bowl: w.form_bowl, cone: w.form_cone };
    const sizes = SHAPES[this.#shape];
    return html`${this.#field("specific_gravity", w.specific_gravity, "")}
      ${this.#field("powder_density_g_ml", w.powder_density, "")}
      <fieldset><legend>${w.form}</legend>${this.#choice("shape", shapes, this.#shape, (s) => { this.#shape = s; })}</fieldset>
      ${sizes.filter((_, i) => i % 2 === 0).map((name, i) => this.#field(name, sizes[2 * i + 1], ""))}
      ${this.#field("dry_g_per_cm2", w.coat, "")}`;
  }

  #result() {
    const r = this.#reckoned;
    if (!r) return "";
    const parts = [
      fill(w.reckoned, { target: grams(r.target_g), low: grams(r.low_g), high: grams(r.high_g) }),
      r.dry_g !== null && fill(w.dry, { dry: grams(r.dry_g) }),
      r.wet_film_mm !== null && fill(w.film, { film: r.wet_film_mm.toFixed(2) }),
      r.solids_fraction !== null && fill(w.solids, { solids: (100 * r.solids_fraction).toFixed(1) }),
    ];
    return html`<p class="result">${parts.filter(Boolean).join(" · ")}</p>
      ${r.warnings.map((warning) => html`<p>${warning}</p>`)}`;
  }

  #refusal() {
    if (!this.#wrong) return "";
    const name = this.#wrong.field?.split(".").pop();
    const sizes = SHAPES[this.#shape];
    const at = sizes.indexOf(name);
    const called = CALLED[name] ?? (at < 0 ? undefined : sizes[at + 1]);
    const why = name && called ? `${called}: ${this.#wrong.message}` : this.#wrong.message;
    return html`<p class="wrong" id="wrong" role="alert">${fill(words.not_done, { why })}</p>`;
  }

  #form() {
    return html`<form @submit=${this.#begin} @input=${this.#changed}>
      <h2>${w.begin_head}</h2>
      <fieldset><legend>${w.how}</legend>
        ${this.#choice("by", { grams: w.by_grams, bucket: w.by_bucket }, this.#by, (by) => { this.#by = by; })}</fieldset>
      ${this.#by === "grams" ? this.#field("slop_g", w.grams, "") : this.#bucket()}
      ${this.#field("grams", w.tolerance, "1.5")}
      ${this.#result()}
      ${this.#field("pieces", w.pieces, "12")}
      ${this.#field("name", w.name, "", { text: true, hint: w.name_hint })}
      ${this.#field("pourer", w.pourer, "", { text: true, free: true })}
      ${this.#refusal()}
      <button>${w.begin}</button>
    </form>`;
  }

  #underWay({ batch, live: { now } }) {
    const id = batch.id;
    return html`<section><h2>${w.under_way}</h2><p class="name">${batch.name}</p>
      <p>${fill(words.target_line, { target: grams(now.target_g), low: grams(now.low_g), high: grams(now.high_g) })}</p>
      <button class="hold" data-held=${this.#hold ? "yes" : "no"} @pointerdown=${() => this.#press(id)}
        @pointerup=${this.#release} @pointerleave=${this.#release} @pointercancel=${this.#release}
        @keydown=${(event) => this.#key(event, id)} @keyup=${this.#release} @blur=${this.#release}
        @contextmenu=${(event) => event.preventDefault()}>${this.#hold ? w.ending : w.end}</button></section>`;
  }

  #again() {
    if (!this.#waiting.length) return "";
    return html`<section><h2>${w.waiting}</h2>${this.#waiting.map((b) => html`<p><button class="plain"
      @click=${() => this.#try(() => this.#start(b.id))}>${fill(w.again, { name: b.name })}</button></p>`)}</section>`;
  }

  /** The whole place. */
  show(state) {
    const under = state.batch && state.live.now?.batch;
    return html`<div class="place"><h1>${words.places.batch}</h1>
      <p class="said" role="status">${this.#said}</p>
      ${under ? [this.#underWay(state), this.#refusal()] : html`${this.#form()}${this.#again()}`}</div>`;
  }
}
