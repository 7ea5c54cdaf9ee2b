// What stands on the shelves, told in a line each.
import { fill, grams, words } from "./say.js";

const w = words.shelf;
const values = (of) => Object.fromEntries(Object.entries({ ...of, ...of.shown }).map(([key, value]) => [key, typeof value === "number" ? String(value) : value]));

const ways = {
  glaze: ({ glaze, cup_s, deflocculant, sieved, shown }) => [
    shown?.came_g !== undefined && fill(w.came, { grams: grams(shown.came_g) }),
    shown?.there_g !== undefined && fill(w.there, { grams: grams(shown.there_g) }),
    fill(w.ways[glaze.by] ?? w.otherwise, values(glaze)),
    shown?.slop_g !== undefined && fill(w.slop, { grams: grams(shown.slop_g) }),
    cup_s !== undefined && fill(w.cup, { s: cup_s }),
    deflocculant && fill(w.deflocculant, { what: deflocculant }),
    sieved && fill(w.sieved, { what: sieved }),
  ],
  form: ({ form }) => [fill(w.ways[form.by] ?? w.otherwise, values(form))],
  coat: ({ coat, tolerance }) => [
    fill(w.coats[coat.by] ?? w.otherwise, values(coat)),
    tolerance && fill(tolerance.percent === undefined ? w.grams : w.percent, values(tolerance)),
  ],
};

/** In one line: what it is. */
export const told = ({ shelf, what }) => (what ? ways[shelf](what).filter(Boolean).join(" · ") : w.off);

/** How old something is, in words. */
export function age(made_at, now = Date.now()) {
  const minutes = Math.max(0, Math.floor((now - Date.parse(made_at)) / 60000));
  if (minutes < 1) return w.just_now;
  const [told, n] = minutes < 120 ? [words.bucket.minutes, minutes]
    : minutes < 2880 ? [words.bucket.hours, Math.floor(minutes / 60)] : [words.bucket.days, Math.floor(minutes / 1440)];
  return fill(w.ago, { age: fill(told, { n }) });
}
