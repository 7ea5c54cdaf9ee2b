// The bucket, as the potter measured it. Keeps what is typed and makes a request of it; reckons nothing.
import { words } from "./say.js";

const w = words.batch;
/** Names of the fields of each way to tell the bucket, with what they are called. */
const WAYS = {
  density: { specific_gravity: w.specific_gravity, powder_density_g_ml: w.powder_density },
  mix: { dry_g: w.mix_dry, water_g: w.mix_water },
  drying: { wet_g: w.sample_wet, dry_g: w.sample_dry },
};

export class Bucket {
  #fields;
  #way = "density";

  constructor(fields) {
    this.#fields = fields;
  }

  /** As it stands in a request. */
  request() {
    return { by: this.#way, ...this.#fields.numbers(this.#way, WAYS[this.#way]) };
  }

  /** Puts a bucket that was kept into the fields; whether it could. */
  put({ by, ...values }) {
    if (!WAYS[by]) return false;
    this.#way = by;
    this.#fields.put(values, `${by}.`);
    return true;
  }

  show() {
    const ways = { density: w.by_density, mix: w.by_mix, drying: w.by_drying };
    return [
      this.#fields.choice("glaze_by", w.bucket, ways, this.#way, (by) => { this.#way = by; }),
      this.#fields.of(this.#way, WAYS[this.#way]),
    ];
  }
}
