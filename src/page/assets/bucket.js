// The bucket, as the potter measured it, once or in several ways. Keeps what is typed and makes a request of it; reckons
// nothing.
import { html } from "./lit-html.js";
import { words } from "./say.js";

const w = words.batch;
/** Names of the fields of each way to tell the bucket, with what they are called; lists take several fillings. */
const WAYS = {
  density: { specific_gravity: w.specific_gravity },
  volume: { g_per_100_ml: w.g_per_100_ml },
  pint: { ounces_per_pint: w.ounces_per_pint },
  vessel: { empty_g: w.vessel_empty, water_g: w.vessel_water, slop_g: w.vessel_slop },
  mix: { dry_g: w.mix_dry, water_g: w.mix_water },
  drying: { wet_g: w.sample_wet, dry_g: w.sample_dry },
};
const LISTS = ["vessel.water_g", "vessel.slop_g"];
/** These tell how dense the slop is, and need the powder's own density too. */
const DENSE = ["density", "volume", "pint", "vessel"];
const POWDER = "powder_density_g_ml";

export class Bucket {
  #fields;
  #soon;
  #weigh;
  /** The ways it was measured, by a number each. */
  #ways = new Map([[0, "density"]]);
  #next = 1;

  constructor(fields, soon, weigh) {
    this.#fields = fields;
    this.#soon = soon;
    this.#weigh = weigh;
  }

  #measure(id, way) {
    const of = Object.keys(WAYS[way]).map((name) => {
      const key = `${id}.${way}.${name}`;
      return [name, LISTS.includes(`${way}.${name}`) ? this.#fields.list(key) : this.#fields.told(key)];
    });
    return { by: way === "pint" ? "volume" : way, ...Object.fromEntries(of) };
  }

  get #alone() { return this.#ways.size === 1; }

  /** Without it the powder's density is found from weights and density together. */
  get #powder() { return [...this.#ways.values()].some((way) => DENSE.includes(way)); }

  /** As it stands in a request. */
  request() {
    const measures = [...this.#ways].map(([id, way]) => this.#measure(id, way));
    const powder = this.#powder && this.#fields.text(POWDER) ? { [POWDER]: this.#fields.number(POWDER) } : {};
    return this.#alone ? { ...measures[0], ...powder } : { by: "several", measures, ...powder };
  }

  /** Puts a bucket that was kept into the fields; whether it could. */
  put(kept) {
    const measures = kept.by === "several" ? kept.measures : [kept];
    const ways = measures.map((m) => (m.by === "volume" && m.ounces_per_pint !== undefined ? "pint" : m.by));
    if (ways.some((way) => !WAYS[way])) return false;
    this.#ways = new Map();
    measures.forEach((measure, i) => {
      const id = this.#next++;
      this.#ways.set(id, ways[i]);
      this.#fields.put({ ...measure, ...measure.shown }, `${id}.${ways[i]}.`);
    });
    this.#fields.put({ [POWDER]: kept[POWDER] });
    return true;
  }

  #one(id, way) {
    const ways = Object.fromEntries(Object.keys(WAYS).map((key) => [key, w.ways[key]]));
    const drop = () => { this.#ways.delete(id); this.#soon(); };
    const field = ([name, label]) => this.#fields.field(`${id}.${way}.${name}`, label, { list_of: LISTS.includes(`${way}.${name}`) });
    return [
      this.#fields.choice(this.#alone ? "glaze_by" : `glaze_by_${id}`, w.bucket, ways, way, (by) => this.#ways.set(id, by)),
      Object.entries(WAYS[way]).map(field),
      way === "vessel" ? html`<p class="told">${w.vessel_how}</p><p class="acts">${this.#inTurn(id)}</p>` : "",
      this.#alone ? "" : html`<p class="acts"><button type="button" class="plain" @click=${drop}>${w.measure_drop}</button></p>`,
    ];
  }

  /** The vessel empty, then twice with water and twice with slop. */
  #inTurn(id) {
    const put = ([empty, ...full]) => this.#fields.put({ empty_g: empty, water_g: full.slice(0, 2), slop_g: full.slice(2) }, `${id}.vessel.`);
    return this.#weigh.button(["vessel", "water", "water", "slop", "slop"], words.weigh.vessel, put);
  }

  show() {
    const add = () => { this.#ways.set(this.#next++, "mix"); this.#soon(); };
    const free = this.#alone ? {} : { free: true, hint: w.powder_found };
    return html`${[...this.#ways].map(([id, way]) => this.#one(id, way))}
      ${this.#powder ? this.#fields.field(POWDER, w.powder_density, free) : ""}
      <p class="acts"><button type="button" class="plain" @click=${add}>${w.measure_add}</button></p>`;
  }
}
