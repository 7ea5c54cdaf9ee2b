// What a batch is made from, as the potter types it: bucket, inside, coat, give or take.
// Keeps what is typed and turns it into a request; every gram is reckoned by the daemon.
import { html, nothing } from "./lit-html.js";
import { words } from "./say.js";
import { section } from "./section.js";

const w = words.batch;
/** Names of the fields of each way to tell the bucket, with what they are called. */
const GLAZES = {
  density: { specific_gravity: w.specific_gravity, powder_density_g_ml: w.powder_density },
  mix: { dry_g: w.mix_dry, water_g: w.mix_water },
  drying: { wet_g: w.sample_wet, dry_g: w.sample_dry },
};
const SHAPES = {
  area: { area_cm2: w.area },
  cylinder: { diameter_mm: w.diameter, height_mm: w.height },
  bowl: { diameter_mm: w.diameter, depth_mm: w.depth },
  cone: { bottom_mm: w.bottom, top_mm: w.top, height_mm: w.height },
  profile: {},
};
const TOLERANCES = { grams: w.tolerance_grams, percent: w.tolerance_percent };
const STARTS = { grams: "1.5", percent: "5", pieces: "12" };
/** A floor in the middle, its edge, and the rim: the least that looks like a pot. */
const ROWS = 3;

const NAMES = ["glaze_name", "pourer", "jug"];

const plain = (text) => Number((text ?? "").replace(",", ".") || NaN);

export class Setup {
  #soon;
  #by = "grams";
  #glaze = "density";
  #shape = "area";
  #tolerance = "grams";
  /** What stands in each field. */
  #typed = { ...STARTS };
  #rows = Array.from({ length: ROWS }, (_, i) => i);
  #next = ROWS;
  /** Names used before, to choose from. */
  #known = { pourer: [], jug: [], glaze_name: [] };
  /** What each jug of before was; what is chosen for this one; what is usual here. */
  #vessels = {};
  #vessel = null;
  #usual = "jug";
  /** How a pour is finished: as chosen, and as is usual here. */
  #finish = null;
  #usually = "stop";
  /** A refusal: the field it names, if any, and its words. */
  wrong = null;

  constructor(soon) {
    this.#soon = soon;
  }

  know(batches) {
    for (const name of NAMES) this.#known[name] = [...new Set(batches.map((b) => b[name]).filter(Boolean))];
    // The newest batch of a jug tells.
    this.#vessels = Object.fromEntries(batches.filter((b) => b.jug && b.vessel).reverse().map((b) => [b.jug, b.vessel]));
  }

  #number(key) {
    return plain(this.#typed[key]);
  }

  #numbers(way, names) {
    return Object.fromEntries(Object.keys(names).map((name) => [name, this.#number(`${way}.${name}`)]));
  }

  #points() {
    return this.#rows.map((id) => [this.#number(`height_${id}`), this.#number(`radius_${id}`)]);
  }

  #inside() {
    const by = this.#shape;
    return by === "profile" ? { by, points_mm: this.#points() } : { by, ...this.#numbers(by, SHAPES[by]) };
  }

  /** What each piece should get, as it stands. */
  target() {
    const tolerance = { [this.#tolerance]: this.#number(this.#tolerance) };
    if (this.#by === "grams") return { coat: { by: "direct", slop_g: this.#number("slop_g") }, tolerance };
    return {
      glaze: { by: this.#glaze, ...this.#numbers(this.#glaze, GLAZES[this.#glaze]) },
      form: this.#inside(),
      coat: { by: "dry", dry_g_per_cm2: this.#number("dry_g_per_cm2") },
      tolerance,
    };
  }

  /** The whole batch, as it stands. */
  batch() {
    const body = { ...this.target(), name: this.#typed.name ?? "", pieces: this.#number("pieces") };
    for (const name of NAMES) if (this.#typed[name]?.trim()) body[name] = this.#typed[name].trim();
    const bare = ["bare_least", "bare_greatest"].map((name) => this.#number(name));
    if (bare.some((g) => !Number.isNaN(g))) body.bare_g = bare;
    return { ...body, vessel: this.#pouredFrom(), finish: this.#finish ?? this.#usually };
  }

  /** As chosen; else as this jug was before; else as is usual here. */
  #pouredFrom() {
    return this.#vessel ?? this.#vessels[this.#typed.jug?.trim()] ?? this.#usual;
  }

  #amiss(name) {
    return this.wrong?.field?.split(/[.[]/).includes(name) ? this.wrong.message : null;
  }

  /** Whether the refusal stands at a field that is shown. */
  placed(form) {
    return this.wrong !== null && form !== null && form.querySelector(".amiss") !== null;
  }

  #input(key, name, more) {
    const amiss = this.#amiss(name);
    return html`<input name=${name} .value=${this.#typed[key] ?? ""} @input=${(e) => { this.#typed[key] = e.target.value; if (key === "jug") this.#vessel = null; }}
      inputmode=${more.text ? "text" : "decimal"} pattern=${more.text ? nothing : "[0-9]+([.,][0-9]+)?"} ?data-number=${!more.text}
      ?required=${!more.free} maxlength="80" autocomplete="off" placeholder=${more.hint ?? nothing} list=${more.list ?? nothing}
      aria-label=${more.label ?? nothing} aria-invalid=${amiss ? "true" : nothing} aria-describedby=${amiss ? `amiss-${name}` : nothing}>`;
  }

  #note(name) {
    const amiss = this.#amiss(name);
    return amiss ? html`<span class="amiss" id="amiss-${name}" role="alert">${amiss}</span>` : "";
  }

  /** A field; what is wrong with it stands right under it. */
  #field(key, label, more = {}) {
    const name = key.split(".").pop();
    return html`<div class="field-of"><label>${label}${this.#input(key, name, more)}</label>${this.#note(name)}</div>`;
  }

  #named(name, label, hint) {
    const id = `${name}s-known`;
    return html`${this.#field(name, label, { text: true, free: true, list: id, hint })}
      <datalist id=${id}>${this.#known[name].map((n) => html`<option value=${n}></option>`)}</datalist>`;
  }

  #choice(name, legend, of, now, choose) {
    const set = (key) => { choose(key); this.wrong = null; this.#soon(); };
    return html`<fieldset><legend>${legend}</legend>${Object.entries(of).map(([key, label]) => html`<label class="choice"><input
      type="radio" name=${name} value=${key} .checked=${key === now} @change=${() => set(key)}>${label}</label>`)}</fieldset>`;
  }

  #row(id, i) {
    const drop = () => { this.#rows = this.#rows.filter((other) => other !== id); this.#soon(); };
    return html`<div class="row"><span aria-hidden="true">${i + 1}</span>
      ${this.#input(`height_${id}`, `height_${id}`, { label: `${w.row_height}, ${i + 1}` })}
      ${this.#input(`radius_${id}`, `radius_${id}`, { label: `${w.row_radius}, ${i + 1}` })}
      <button type="button" class="plain" ?disabled=${this.#rows.length <= 2} @click=${drop}
        aria-label="${w.row_drop} ${i + 1}"><svg viewBox="0 0 20 20" aria-hidden="true"><path d="M4 4 L16 16 M16 4 L4 16"/></svg></button></div>`;
  }

  #profile() {
    const add = () => { this.#rows = [...this.#rows, this.#next]; this.#next += 1; this.#soon(); };
    return html`<fieldset class="rows"><legend>${w.rows}</legend>
      <div class="row head" aria-hidden="true"><span></span><span>${w.row_height}</span><span>${w.row_radius}</span><span></span></div>
      ${this.#rows.map((id, i) => this.#row(id, i))}${this.#note("points_mm")}
      <button type="button" class="plain" @click=${add}>${w.row_add}</button></fieldset>`;
  }

  /** What was typed, as pots are drawn; nothing while it makes no pot. */
  #sketch() {
    const inside = this.#inside();
    if (inside.by === "area") return "";
    const typed = inside.by === "profile" ? inside.points_mm.filter((p) => p.every(Number.isFinite)) : null;
    const sizes = Object.values(inside).filter((v) => typeof v === "number");
    const height = typed ? Math.max(...typed.map((p) => p[0])) - typed[0]?.[0] : Math.min(...sizes);
    const wide = typed ? Math.max(...typed.map((p) => p[1])) : 1;
    const rises = typed?.every((p, i) => i === 0 || p[0] >= typed[i - 1][0]);
    const pot = typed ? typed.length >= 2 && rises && height > 0 && wide > 0 : sizes.every((v) => v > 0);
    return pot ? html`<div class="sketch">${section(typed ? { by: "profile", points_mm: typed } : inside, 0, 0, 0, w.sketch)}</div>` : "";
  }

  #bucket() {
    const glazes = { density: w.by_density, mix: w.by_mix, drying: w.by_drying };
    const shapes = { area: w.form_area, cylinder: w.form_cylinder, bowl: w.form_bowl, cone: w.form_cone, profile: w.form_profile };
    const fields = (way, names) => Object.entries(names).map(([name, label]) => this.#field(`${way}.${name}`, label));
    return html`${this.#choice("glaze_by", w.bucket, glazes, this.#glaze, (by) => { this.#glaze = by; })}
      ${fields(this.#glaze, GLAZES[this.#glaze])}
      ${this.#choice("shape", w.form, shapes, this.#shape, (by) => { this.#shape = by; })}
      ${this.#shape === "profile" ? this.#profile() : fields(this.#shape, SHAPES[this.#shape])}
      ${this.#sketch()}
      ${this.#field("dry_g_per_cm2", w.coat)}`;
  }

  /** All fields; `result` stands where the grams are reckoned. */
  fields(result, now) {
    this.#usual = now?.vessel ?? this.#usual;
    this.#usually = now?.finish ?? this.#usually;
    return html`${this.#choice("by", w.how, { grams: w.by_grams, bucket: w.by_bucket }, this.#by, (by) => { this.#by = by; })}
      ${this.#by === "grams" ? this.#field("slop_g", w.grams) : this.#bucket()}
      ${this.#choice("tolerance_by", w.tolerance, { grams: w.in_grams, percent: w.in_percent }, this.#tolerance, (by) => { this.#tolerance = by; })}
      ${this.#field(this.#tolerance, TOLERANCES[this.#tolerance])}
      ${result}
      ${this.#field("pieces", w.pieces)}
      ${this.#field("name", w.name, { text: true, hint: w.name_hint })}
      ${this.#named("glaze_name", w.glaze_name, w.may_lack)}${this.#named("pourer", w.pourer)}
      ${this.#field("bare_least", w.bare_least, { free: true, hint: w.may_lack })}
      ${this.#field("bare_greatest", w.bare_greatest, { free: true, hint: w.may_lack })}${this.#note("bare_g")}
      ${this.#named("jug", w.jug)}
      ${this.#choice("vessel", w.vessel, w.vessels, this.#pouredFrom(), (vessel) => { this.#vessel = vessel; })}
      ${this.#choice("finish", w.finish, w.finishes, this.#finish ?? this.#usually, (finish) => { this.#finish = finish; })}`;
  }
}
