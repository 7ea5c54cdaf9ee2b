// The piece as pots are drawn: cut open on one side, its outside on the other.
// The coat grows from the cut wall inwards; the two thin lines are the least and the most glaze.
// The coat is not to scale: up to the least it is drawn thin, between the lines ten times thicker,
// so that the part that matters can be seen from afar.
import { html, svg } from "./lit-html.js";
import { words } from "./say.js";

/** Drawn thickness at the least and the most glaze, and where drawing stops, in units of a 100 high piece. */
const LEAST = 12, MOST = 19, FULL = 27;
/** Used where the batch gives no form: [height, inside radius] of a plain mug. */
const MUG = [[0, 0], [0, 34], [3, 38], [10, 40], [96, 41]];

function points(form) {
  switch (form?.by) {
    case "cylinder": return [[0, 0], [0, form.diameter_mm / 2], [form.height_mm, form.diameter_mm / 2]];
    case "cone": return [[0, 0], [0, form.bottom_mm / 2], [form.height_mm, form.top_mm / 2]];
    case "bowl": return bowl(form.diameter_mm / 2, form.depth_mm);
    case "profile": return form.points_mm[0][1] > 0 ? [[form.points_mm[0][0], 0], ...form.points_mm] : form.points_mm;
    default: return MUG;
  }
}

function bowl(rim, depth) {
  const radius = (rim * rim + depth * depth) / (2 * depth);
  return Array.from({ length: 13 }, (_, i) => {
    const height = (depth * i * i) / 144;
    return [height, Math.sqrt(Math.max(0, radius ** 2 - (radius - height) ** 2))];
  });
}

/** Into a box 90 half-wide and 100 high, standing at y = 104, axis at x = 0. */
function fit(raw) {
  const high = Math.max(...raw.map((p) => p[0])) - raw[0][0], wide = Math.max(...raw.map((p) => p[1]));
  const k = Math.min(96 / high, 62 / wide);
  return raw.map(([h, r]) => [-r * k, 100 - (h - raw[0][0]) * k]);
}

const line = (list) => list.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join(" ");

/** Drawn thickness of this much glaze. */
export function thickness(net, low, high) {
  if (!(net > 0) || !(low > 0)) return 0;
  if (net <= low) return (LEAST * net) / low;
  return Math.min(FULL, LEAST + ((MOST - LEAST) * (net - low)) / Math.max(high - low, 1e-6));
}

let known = { form: undefined, wall: null };

function shape(form) {
  if (known.wall && known.form === form) return known;
  const wall = fit(points(form));
  const rim = wall[wall.length - 1];
  const outer = wall.slice(1).map(([x, y], i) => [x - 6, i === 0 ? 107 : y]);
  const out = [[0, 107], ...outer, [rim[0] - 3, rim[1] - 2], rim];
  const outside = [[0, 107], ...outer.map(([x, y]) => [-x, y]), [-rim[0], rim[1] - 1], [0, rim[1] - 1]];
  known = {
    form, rim,
    line: line(wall),
    inside: `${line(wall)} L0 ${rim[1]} Z`,
    cut: `${line(out)} ${line([...wall].reverse()).replace("M", "L")} Z`,
    outside: `${line(outside)} Z`,
    ribs: [0.22, 0.28, 0.5, 0.56, 0.78, 0.84].map((f) => rim[1] + (100 - rim[1]) * f),
    half: -Math.min(...out.map((p) => p[0])),
    mug: form === undefined || form === null || form.by === "area",
    wall,
  };
  return known;
}

const coat = (name, drawn, d) =>
  svg`<path class=${name} clip-path="url(#inside)" d=${d} fill="none" stroke-width=${(drawn * 2).toFixed(2)}/>`;

/** The picture, with this much glaze in it. */
export function section(form, net, low, high, label = words.section_label) {
  const s = shape(form);
  const drawn = thickness(net, low, high);
  const width = s.half + (s.mug ? 26 : 4);
  return html`<svg class="section" viewBox="${-s.half - 4} ${s.rim[1] - 8} ${s.half + 4 + width} ${120 - s.rim[1]}"
      role="img" aria-label=${label}>
    <defs><clipPath id="inside"><path d=${s.inside}/></clipPath>
      <clipPath id="skin"><path d=${s.outside}/></clipPath></defs>
    <path class="air" d=${s.inside}/>
    ${coat("edge", MOST + 0.5, s.line)}${coat("room", MOST - 0.5, s.line)}
    ${coat("edge", LEAST + 0.5, s.line)}${coat("gap", LEAST - 0.5, s.line)}
    ${drawn > 0 ? coat("coat", drawn, s.line) : ""}
    <path class="cut" d=${s.cut}/>
    ${s.mug ? svg`<path class="ear" d="M46 24 C70 20 72 76 45 78" />` : ""}
    <path class="outside" d=${s.outside}/>
    ${s.ribs.map((y) => svg`<path class="rib" clip-path="url(#skin)" d="M0 ${y} Q${s.half * 0.6} ${y} ${s.half} ${y - 7}"/>`)}
    <path class="axis" d="M0 ${s.rim[1] - 6} V107"/>
  </svg>`;
}
