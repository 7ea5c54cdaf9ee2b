// Fields as the potter types into them: what stands in each, and what is wrong with one right under it.
import { html, nothing } from "./lit-html.js";
import { words } from "./say.js";

const plain = (text) => Number((text ?? "").replace(",", ".") || NaN);

/** The daemon's own units are sent as bare numbers. */
function withUnit(number, name) {
  const { g, mm, cm2 } = words.units;
  const unit = /(_g|_g_per_piece|^grams)$/.test(name) ? g : name === "area_cm2" ? cm2 : name.endsWith("_mm") && !name.startsWith("thickness") ? mm : null;
  return Number.isNaN(number) || ["g", "mm", "cm2", null].includes(unit) ? number : `${number} ${unit}`;
}

export class Fields {
  #soon;
  /** What stands in each field, by its key; a key ends with the name that a request uses. */
  typed;
  /** A refusal: the field it names, if any, and its words. */
  wrong = null;

  constructor(soon, typed = {}) {
    this.#soon = soon;
    this.typed = { ...typed };
  }

  number(key) {
    return plain(this.typed[key]);
  }

  /** As it stands in a request: a weight or a size with the unit in which it is typed here. */
  told(key, name = key.split(".").pop()) {
    return withUnit(this.number(key), name);
  }

  /** Several of them, apart by blanks or semicolons. */
  list(key) {
    return this.text(key).split(/[\s;]+/).filter(Boolean).map((text) => withUnit(plain(text), key));
  }

  text(key) {
    return this.typed[key]?.trim() ?? "";
  }

  /** Puts what was kept before into the fields. */
  put(values, before = "") {
    for (const [key, value] of Object.entries(values)) {
      if (Array.isArray(value)) this.typed[before + key] = value.join(" ");
      else if (typeof value === "number" || typeof value === "string") this.typed[before + key] = String(value);
    }
  }

  #amiss(name) {
    return this.wrong?.field?.split(/[.[]/).includes(name) ? this.wrong.message : null;
  }

  /** Whether the refusal stands at a field; one that is folded away is unfolded. */
  placed(form) {
    const at = (this.wrong && form?.querySelector(".amiss")) ?? null;
    at?.closest("details")?.setAttribute("open", "");
    return at !== null;
  }

  /** Fields that most leave as they are, folded away under what they are now. */
  folded(head, fields) {
    return html`<details class="folded"><summary>${head}</summary><div class="fields">${fields}</div></details>`;
  }

  input(key, name, more = {}) {
    const amiss = this.#amiss(name);
    return html`<input name=${name} .value=${this.typed[key] ?? ""} @input=${(e) => { this.typed[key] = e.target.value; more.typed?.(); }}
      inputmode=${more.text || more.list_of ? "text" : "decimal"} pattern=${more.text ? nothing : more.list_of ? "[0-9]+([.,][0-9]+)?([ ;]+[0-9]+([.,][0-9]+)?)*" : "[0-9]+([.,][0-9]+)?"} ?data-number=${!more.text}
      ?required=${!more.free} maxlength="80" autocomplete="off" placeholder=${more.hint ?? nothing} list=${more.list ?? nothing}
      aria-label=${more.label ?? nothing} aria-invalid=${amiss ? "true" : nothing} aria-describedby=${amiss ? `amiss-${name}` : nothing}>`;
  }

  note(name) {
    const amiss = this.#amiss(name);
    return amiss ? html`<span class="amiss" id="amiss-${name}" role="alert">${amiss}</span>` : "";
  }

  /** A field; what is wrong with it stands right under it. */
  field(key, label, more = {}) {
    const name = key.split(".").pop();
    return html`<div class="field-of"><label>${label}${this.input(key, name, more)}</label>${more.weigh ?? ""}${this.note(name)}</div>`;
  }

  /** The fields of one way to tell something. */
  of(way, names) {
    return Object.entries(names).map(([name, label]) => this.field(`${way}.${name}`, label));
  }

  choice(name, legend, of, now, choose) {
    const set = (key) => { choose(key); this.wrong = null; this.#soon(); };
    return html`<fieldset><legend>${legend}</legend>${Object.entries(of).map(([key, label]) => html`<label class="choice"><input
      type="radio" name=${name} value=${key} .checked=${key === now} @change=${() => set(key)}>${label}</label>`)}</fieldset>`;
  }

  /** One of what stands on a shelf, or something new. */
  pick(name, label, of, now, choose) {
    if (!of.length) return "";
    const set = (e) => { choose(e.target.value); this.wrong = null; this.#soon(); };
    return html`<div class="field-of"><label>${label}<select name=${name} @change=${set}>${of.map(([value, text]) => html`<option
      value=${value} .selected=${value === now}>${text}</option>`)}</select></label></div>`;
  }
}
