// The layer wanted, as the potter knows it.
import { words } from "./say.js";

const w = words.batch;
const WAYS = {
  dry: { dry_g_per_cm2: w.coat },
  piece: { slop_g: w.piece_slop, specific_gravity: w.piece_gravity, area_cm2: w.piece_area },
  tile: { area_cm2: w.tile_area, before_g: w.tile_before, after_g: w.tile_after },
  fired: { thickness_mm: w.fired_mm, fired_density_g_ml: w.fired_density, loss_on_ignition: w.fired_loss, firing_shrinkage_percent: w.firing_shrinkage },
};
/** What the pan can tell. */
const THINGS = { "tile.before_g": "tile", "tile.after_g": "coated" };
/** May be left out: a piece of the same form, and no shrinkage. */
const FREE = ["piece.area_cm2", "fired.firing_shrinkage_percent"];

export class Coat {
  #fields;
  #weigh;
  #way = "dry";

  constructor(fields, weigh) {
    this.#fields = fields;
    this.#weigh = weigh;
  }

  /** As it stands in a request. */
  request() {
    const given = Object.keys(WAYS[this.#way]).filter((name) => !FREE.includes(`${this.#way}.${name}`) || this.#fields.text(`coat.${this.#way}.${name}`));
    return { by: this.#way, ...Object.fromEntries(given.map((name) => [name, this.#fields.told(`coat.${this.#way}.${name}`)])) };
  }

  show() {
    const field = ([name, label]) => {
      const key = `${this.#way}.${name}`, thing = THINGS[key];
      const weigh = thing ? this.#weigh.into(this.#fields, `coat.${key}`, thing, label) : "";
      return this.#fields.field(`coat.${key}`, label, FREE.includes(key) ? { free: true, hint: w.may_lack } : { weigh });
    };
    return [
      this.#fields.choice("coat_by", w.coat_how, w.coats, this.#way, (by) => { this.#way = by; }),
      Object.entries(WAYS[this.#way]).map(field),
    ];
  }
}
