// A pour as the scale saw it: net grams over seconds, the limits as a band, stop and lift as marks.
// The sums here only place ink on the sheet; grams and seconds are the daemon's.
import { html, svg } from "./lit-html.js";
import { fill, grams, words } from "./say.js";

const w = words.curve;
/** The sheet's margins and height, px: room for a row of words above and of seconds below. */
const LEFT = 44, RIGHT = 16, TOP = 30, FOOT = 34, HIGH = 300;
/** Wider than this nothing more is seen. */
const WIDEST = 780;
/** Seconds between two figures below: the first that leaves room for them. */
const STEPS = [1, 2, 5, 10, 30, 60, 300, 600, 1800, 3600];
/** In the table a point every half second; the marks are in it always. */
const EVERY_S = 0.5;

const seconds = (s) => s.toFixed(1);

/** In words, for whoever can't see the drawing. */
function told({ marks, shown }) {
  const said = marks.map((m) => fill(w.marks[m.what], { s: seconds(m.at_s), grams: grams(m.shown.net_g) }));
  return [...said, fill(words.log.against, { low: grams(shown.low_g), high: grams(shown.high_g) })].join(" ");
}

function rows({ shown: { points }, marks }) {
  const kept = [];
  for (const [s, net] of points) {
    if (!kept.length || s - kept[kept.length - 1].s >= EVERY_S) kept.push({ s, net, what: "" });
  }
  marks.forEach((m) => kept.push({ s: m.at_s, net: m.shown.net_g, what: w.short[m.what] }));
  return kept.sort((a, b) => a.s - b.s);
}

function drawing({ points, marks, target_g, low_g, high_g, shown }) {
  const wide = Math.max(240, Math.min(WIDEST, document.documentElement.clientWidth - 40));
  const last = Math.max(points[points.length - 1][0], ...marks.map((m) => m.at_s), 0.1);
  const most = Math.max(high_g * 1.12, ...points.map((p) => p[1]));
  const x = (s) => LEFT + (s / last) * (wide - LEFT - RIGHT);
  const y = (net) => HIGH - FOOT - (Math.max(0, net) / most) * (HIGH - FOOT - TOP);
  const step = STEPS.find((s) => x(s) - x(0) >= 44) ?? last;
  const ticks = Array.from({ length: Math.floor(last / step) + 1 }, (_, i) => i * step);
  const line = points.map(([s, net], i) => `${i ? "L" : "M"}${x(s).toFixed(1)} ${y(net).toFixed(1)}`).join("");
  const drawn = marks.filter((m) => m.what !== "weighed");
  // A word at the right edge stands on the other side of its line; each second one a row lower, so that
  // stop and lift never run into each other.
  const side = (m) => (x(m.at_s) > wide - 90 ? "end" : "start");
  return html`<svg class="curve" width=${wide} height=${HIGH} viewBox="0 0 ${wide} ${HIGH}" aria-hidden="true">
    <path class="band" d="M${LEFT} ${y(high_g)} H${wide - RIGHT} V${y(low_g)} H${LEFT} Z"/>
    <path class="bound" d="M${LEFT} ${y(high_g)} H${wide - RIGHT} M${LEFT} ${y(low_g)} H${wide - RIGHT}"/>
    <path class="want" d="M${LEFT} ${y(target_g)} H${wide - RIGHT}"/>
    <path class="ground" d="M${LEFT} ${y(0)} H${wide - RIGHT}"/>
    <text class="side" x=${LEFT - 6} y=${y(high_g) - 1}>${grams(shown.high_g)}</text>
    <text class="side" x=${LEFT - 6} y=${y(low_g) + 13}>${grams(shown.low_g)}</text>
    <text class="side" x=${LEFT - 6} y=${y(0) + 4}>0 ${words.gram}</text>
    ${ticks.map((s) => svg`<text class="foot" x=${x(s)} y=${HIGH - 10}>${s}${s === 0 ? " s" : ""}</text>`)}
    ${drawn.map((m, i) => svg`<path class=${m.what} d="M${x(m.at_s)} ${TOP - 8} V${y(0)}"/>
      <text class="what" x=${x(m.at_s) + (side(m) === "end" ? -6 : 6)} y=${TOP - 16 + 14 * (i % 2)} text-anchor=${side(m)}>${w.short[m.what]}</text>`)}
    <path class="net" d=${line}/>
  </svg>`;
}

/** The figure of piece `piece`, with what else is to be known of it. */
export function curve(told_g, piece, known) {
  if (!told_g.points.length) return html`<p>${w.none}</p>`;
  return html`<figure class="pour"><figcaption><b>${fill(w.head, { piece })}</b> ${told(told_g)}
      ${known.map((words) => html`<span class="known">${words}</span>`)}</figcaption>
    ${drawing(told_g)}
    <details><summary>${w.numbers}</summary><table><thead><tr><th scope="col" class="figure">${w.seconds}</th>
      <th scope="col" class="figure">${w.net}</th><th scope="col">${w.what}</th></tr></thead><tbody>${rows(told_g).map((r) =>
      html`<tr><td class="figure">${seconds(r.s)}</td><td class="figure">${grams(r.net)}</td><td>${r.what}</td></tr>`)}</tbody></table></details>
  </figure>`;
}
