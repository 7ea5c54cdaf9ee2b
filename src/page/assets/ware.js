// What the ware is like as it is glazed: how much water its wall still takes up.
import { html } from "./lit-html.js";
import { words } from "./say.js";

const w = words.batch;
const WEIGHTS = { dry_g: w.ware_dry, soaked_g: w.ware_soaked, piece_g: w.ware_piece };
const THINGS = { dry_g: "dry", soaked_g: "soaked", piece_g: "piece" };
const OWN = { outside: { outside_slop_g: w.ware_outside_slop }, sponged: { sponged_g: w.ware_sponged } };

export class Ware {
  #fields;
  #weigh;
  #state = "unsaid";

  constructor(fields, weigh) {
    this.#fields = fields;
    this.#weigh = weigh;
  }

  get state() { return this.#state; }

  /** As it stands in a request; nothing where nothing is said. */
  request() {
    if (this.#state === "unsaid") return {};
    const asked = this.#state === "fired" ? [] : Object.keys({ ...WEIGHTS, ...OWN[this.#state] });
    const told = asked.filter((name) => this.#fields.text(`ware.${name}`));
    return { ware: { state: this.#state, ...Object.fromEntries(told.map((name) => [name, this.#fields.told(`ware.${name}`)])) } };
  }

  show() {
    const fields = ["unsaid", "fired"].includes(this.#state) ? {} : { ...WEIGHTS, ...OWN[this.#state] };
    const more = (name, label) => ({ free: true, hint: w.may_lack, weigh: THINGS[name] ? this.#weigh.into(this.#fields, `ware.${name}`, THINGS[name], label) : "" });
    return html`${this.#fields.choice("ware", w.ware, w.wares, this.#state, (state) => { this.#state = state; })}
      ${Object.entries(fields).map(([name, label]) => this.#fields.field(`ware.${name}`, label, more(name, label)))}`;
  }
}
