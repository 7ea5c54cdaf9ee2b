// How late the scale shows and the hand stops, in words, and the test that measures the scale step by step.
import { html } from "./lit-html.js";
import { amount, ask, fill, words } from "./say.js";

const w = words.late;
const seconds = (ms) => (ms / 1000).toFixed(2);

/** How late the scale shows, and where that is known from. */
function ofScale({ lag_ms, u_ms, origin, steps, way, measured_ms }) {
  const s = seconds(lag_ms), u = u_ms === null ? "" : seconds(u_ms);
  switch (origin) {
    case "told": return [
      fill(w.lag_told, { s }),
      measured_ms !== null && Math.abs(measured_ms - lag_ms) >= 5 && fill(w.lag_told_other, { s: seconds(measured_ms) }),
    ];
    case "measured": return [fill(w.lag_measured, { s, u, n: steps }), way && w.ways[way]];
    case "learned": return [steps ? fill(w.lag_learned, { s, u, n: steps }) : fill(w.lag_earlier, { s })];
    default: return [fill(w.lag_assumed, { s }), steps > 0 && fill(w.lag_seen, { n: steps })];
  }
}

/** How late the hand of the batch under way stops. */
function ofHand(hand) {
  if (!hand) return [w.hand_none];
  const s = seconds(hand.hand_ms), n = hand.pours;
  const kept = [hand.pourer ?? w.nobody, hand.jug ?? w.no_jug, w.guided[hand.guidance]];
  const told = hand.origin === "assumed" ? fill(w.hand_assumed, { s })
    : hand.scatter_ms === null ? fill(n === 1 ? w.hand_one : w.hand_few, { s, n })
      : fill(w.hand_learned, { s, n, u: seconds(hand.scatter_ms) });
  return [told, fill(w.hand_kept, { kept: kept.join(" · ") })];
}

/** Whether the pours say the same of the two together. */
function ofBoth(sum) {
  if (!sum || sum.agreement === "unknown") return [];
  const values = { known: seconds(sum.known_ms), slope: seconds(sum.slope_ms), u: seconds(sum.u_ms), n: sum.pours };
  return [fill(sum.agreement === "agrees" ? w.sum_agrees : w.sum_differs, values)];
}

const facts = (all) => all.filter(Boolean).map((fact) => html`<p>${fact}</p>`);

/** What is known of how late the two are. */
export const late = ({ scale, hand, sum }) => html`<section><h2>${w.head}</h2>
  ${facts([...ofScale(scale.lag), ...ofHand(hand)])}
  ${sum?.agreement === "differs" ? html`<p class="wrong">${ofBoth(sum)}</p>` : facts(ofBoth(sum))}</section>`;

/** What the test asks now. */
const wanted = ({ wants, shown: { least_g, most_g } }) =>
  wants === "done" ? w.done : fill(w.wants[wants], { least: amount(least_g, 0), most: amount(most_g, 0) });

/** What is spoken of the test: what it asks, and before that what was amiss; empty where there is none. */
export const spoken = (test) => (test ? [test.amiss && w.amiss[test.amiss], wanted(test)].filter(Boolean).join(" ") : "");

/** The response test of the scale. */
export class LagTest {
  #soon;
  #hold;
  #wrong = "";

  constructor(soon, hold) {
    this.#soon = soon;
    this.#hold = hold;
  }

  async #ask(body) {
    this.#wrong = "";
    try {
      await ask("/api/scale/lag", body);
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  /** One step, large: what to do, how far it is, and what is amiss. */
  #step(test) {
    const { done, steps, amiss } = test;
    return html`<section class="step"><h2>${w.test}</h2>
      <p class="ask">${wanted(test)}</p>
      ${amiss ? html`<p class="amiss">${w.amiss[amiss]}</p>` : ""}
      <p>${fill(w.progress, { n: done + 1, steps })}</p>
      <button type="button" class="plain" @click=${() => this.#ask({ off: true })}>${w.leave}</button></section>`;
  }

  /** While it is under way it is all that matters here. */
  running({ scale }) {
    const test = scale.lag_test;
    return test && test.wants !== "done" ? this.#step(test) : "";
  }

  /** How it is begun, and that it is done. */
  idle({ scale, batch }) {
    const test = scale.lag_test;
    if (test && test.wants !== "done") return "";
    return html`<section class="lag-test"><h2>${w.test}</h2>${test ? html`<p class="said">${w.done}</p>` : ""}
      ${facts([w.test_what, w.test_how, batch && w.test_batch])}<p class="wrong" role="alert">${this.#wrong}</p>
      ${batch ? "" : this.#hold.button("lag", w.begin, words.batch.ending, () => this.#ask({}))}</section>`;
  }
}
