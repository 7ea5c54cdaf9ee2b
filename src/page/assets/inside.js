// The inside of a piece, as the potter measured it, with its section as pots are drawn.
import { html } from "./lit-html.js";
import { words } from "./say.js";
import { section } from "./section.js";

const w = words.batch;
/** Sizes that may be left out stand in the second list. */
const SHAPES = {
  area: { area_cm2: w.area },
  cylinder: { diameter_mm: w.diameter, height_mm: w.height, corner_mm: w.corner },
  bowl: { diameter_mm: w.diameter, depth_mm: w.depth },
  cone: { bottom_mm: w.bottom, top_mm: w.top, height_mm: w.height },
  square: { width_mm: w.width, length_mm: w.length, height_mm: w.height, corner_mm: w.upright },
  oval: { length_mm: w.longest, width_mm: w.shortest, height_mm: w.height },
  profile: {},
};
const FREE = ["cylinder.corner_mm", "square.length_mm", "square.corner_mm"];
/** What holds for any shape; all may be left out. */
const BESIDE = {
  bare_rim_mm: w.bare_rim,
  shrinkage_percent: w.shrinkage,
  fired_water_g: w.fired_water,
  fired_shrinkage_percent: w.fired_shrinkage,
};
/** Those that are drawn. */
const DRAWN = ["cylinder", "bowl", "cone", "profile"];
/** A floor in the middle, its edge, and the rim: the least that looks like a pot. */
const ROWS = 3;

export class Inside {
  #fields;
  #soon;
  #shape = "area";
  #rows = Array.from({ length: ROWS }, (_, i) => i);
  #next = ROWS;

  constructor(fields, soon) {
    this.#fields = fields;
    this.#soon = soon;
  }

  /** As it stands in a request. */
  request() {
    return this.#as((key, name = key) => this.#fields.told(key, name));
  }

  /** With each number as `of` gives it. */
  #as(of) {
    const by = this.#shape, points = () => this.#rows.map((id) => [of(`height_${id}`, "points_mm"), of(`radius_${id}`, "points_mm")]);
    const own = Object.keys(SHAPES[by]).filter((name) => !FREE.includes(`${by}.${name}`) || this.#fields.text(`${by}.${name}`));
    const sizes = own.map((name) => [name, of(`${by}.${name}`, name)]);
    const beside = Object.keys(BESIDE).filter((name) => this.#fields.text(name)).map((name) => [name, of(name)]);
    return { by, ...(by === "profile" ? { points_mm: points() } : Object.fromEntries(sizes)), ...Object.fromEntries(beside) };
  }

  /** Puts one that was kept into the fields; whether it could. */
  put({ by, points_mm, ...values }) {
    if (!SHAPES[by]) return false;
    this.#shape = by;
    this.#fields.put(values, `${by}.`);
    this.#fields.put(Object.fromEntries(Object.keys(BESIDE).map((name) => [name, values[name]])));
    if (points_mm) {
      this.#rows = points_mm.map((_, i) => this.#next + i);
      this.#next += points_mm.length;
      points_mm.forEach(([height, radius], i) => this.#fields.put({ [`height_${this.#rows[i]}`]: height, [`radius_${this.#rows[i]}`]: radius }));
    }
    return true;
  }

  #row(id, i) {
    const drop = () => { this.#rows = this.#rows.filter((other) => other !== id); this.#soon(); };
    return html`<div class="row"><span aria-hidden="true">${i + 1}</span>
      ${this.#fields.input(`height_${id}`, `height_${id}`, { label: `${w.row_height}, ${i + 1}` })}
      ${this.#fields.input(`radius_${id}`, `radius_${id}`, { label: `${w.row_radius}, ${i + 1}` })}
      <button type="button" class="plain" ?disabled=${this.#rows.length <= 2} @click=${drop}
        aria-label="${w.row_drop} ${i + 1}"><svg viewBox="0 0 20 20" aria-hidden="true"><path d="M4 4 L16 16 M16 4 L4 16"/></svg></button></div>`;
  }

  #profile() {
    const add = () => { this.#rows = [...this.#rows, this.#next]; this.#next += 1; this.#soon(); };
    return html`<fieldset class="rows"><legend>${w.rows}</legend>
      <div class="row head" aria-hidden="true"><span></span><span>${w.row_height}</span><span>${w.row_radius}</span><span></span></div>
      ${this.#rows.map((id, i) => this.#row(id, i))}${this.#fields.note("points_mm")}
      <button type="button" class="plain" @click=${add}>${w.row_add}</button></fieldset>`;
  }

  #size(name, label) {
    const key = `${this.#shape}.${name}`;
    return this.#fields.field(key, label, FREE.includes(key) ? { free: true, hint: w.may_lack } : {});
  }

  /** What was typed, as pots are drawn; nothing while it makes no pot. */
  #sketch() {
    const inside = this.#as((key) => this.#fields.number(key));
    if (!DRAWN.includes(inside.by)) return "";
    const typed = inside.by === "profile" ? inside.points_mm.filter((p) => p.every(Number.isFinite)) : null;
    const sizes = Object.keys(SHAPES[inside.by]).filter((name) => !FREE.includes(`${inside.by}.${name}`)).map((name) => inside[name]);
    const height = typed ? Math.max(...typed.map((p) => p[0])) - typed[0]?.[0] : Math.min(...sizes);
    const wide = typed ? Math.max(...typed.map((p) => p[1])) : 1;
    const rises = typed?.every((p, i) => i === 0 || p[0] >= typed[i - 1][0]);
    const pot = typed ? typed.length >= 2 && rises && height > 0 && wide > 0 : sizes.every((v) => v > 0);
    return pot ? html`<div class="sketch">${section(typed ? { by: "profile", points_mm: typed } : inside, 0, 0, 0, w.sketch)}</div>` : "";
  }

  show() {
    const shapes = { area: w.form_area, cylinder: w.form_cylinder, bowl: w.form_bowl, cone: w.form_cone, square: w.form_square, oval: w.form_oval, profile: w.form_profile };
    return [
      this.#fields.choice("shape", w.form, shapes, this.#shape, (by) => { this.#shape = by; }),
      this.#shape === "profile" ? this.#profile() : Object.entries(SHAPES[this.#shape]).map(([name, label]) => this.#size(name, label)),
      this.#sketch(),
      this.#fields.folded(w.form_more, Object.entries(BESIDE).map(([name, label]) => this.#fields.field(name, label, { free: true, hint: w.may_lack }))),
    ];
  }
}
