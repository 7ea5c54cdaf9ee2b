// The scale as it is seen, the sound, how to set the scale up, and this screen's own choices.
import { html } from "./lit-html.js";
import { amount, ask, fill, grams, words } from "./say.js";
import { Hold } from "./hold.js";
import { LagTest, late } from "./late.js";
import { Calibrate } from "./calibrate.js";

const w = words.scale;
const MIRROR = "tarebell.picture-right";

const kept = () => { try { return localStorage.getItem(MIRROR) === "yes"; } catch { return false; } };

export class ScalePlace {
  #soon;
  #mirror = kept();
  #hold;
  #test;
  #calibrate;
  /** What came of a wish about the spare weight or the jug, and whether it was refused. */
  #said = {};
  #wrong = {};

  constructor(soon) {
    this.#soon = soon;
    this.#hold = new Hold(soon);
    this.#test = new LagTest(soon, this.#hold);
    this.#calibrate = new Calibrate(soon, this.#hold);
    this.#set(this.#mirror);
  }

  #set(mirror) {
    this.#mirror = mirror;
    document.documentElement.dataset.picture = mirror ? "right" : "left";
    // Without storage the choice lasts until the page is closed.
    try { localStorage.setItem(MIRROR, mirror ? "yes" : "no"); } catch { /* as said */ }
    this.#soon();
  }

  /** How the readings come: only of a scale that reads now. */
  #rhythm({ state, rate_hz, jitter_ms, loss }) {
    if (state !== "live") return [];
    if (rate_hz === null) return [w.rate_unknown];
    return [
      fill(w.rate, { n: rate_hz.toFixed(1) }),
      jitter_ms >= 1 && fill(w.jitter, { ms: Math.round(jitter_ms) }),
      loss > 0 && fill(w.loss, { percent: Math.max(1, Math.round(100 * loss)) }),
    ];
  }

  #sound(sound) {
    if (!sound) return html`<p>${w.sound_unknown}</p>`;
    const late = sound.latency_us ? fill(w.latency, { ms: Math.round(sound.latency_us / 1000) }) : "";
    return html`<p>${[sound.device, sound.words ?? sound.state, late].filter(Boolean).join(" · ")}</p>`;
  }

  async #keep(name, asked, said) {
    this.#said = {};
    this.#wrong = {};
    try {
      const { shown } = await ask(`/api/scale/${name}`, asked);
      this.#said[name] = fill(said, { grams: grams(shown[`${name}_g`]) });
    } catch (error) {
      this.#wrong[name] = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  /** What is known by its weight and is no piece: the spare weight, the jug. */
  #known(name, { shown }) {
    const weight = shown[`${name}_g`], text = (of) => w[`${name}_${of}`];
    return html`<section><h2>${w[name]}</h2><p>${text("what")}</p>${weight === null ? "" : html`<p>${fill(text("is"), { grams: grams(weight) })}</p>`}
      <p>${text("how")}</p><p class="said" role="status">${this.#said[name]}</p><p class="wrong" role="alert">${this.#wrong[name]}</p>
      ${this.#hold.button(name, text("keep"), words.batch.ending, () => this.#keep(name, {}, text("kept")))}
      ${weight === null ? "" : this.#hold.button(`${name} off`, text("off"), words.batch.ending, () => this.#keep(name, { off: true }, text("gone")))}</section>`;
  }

  /** The whole place. */
  show({ live: { now, connected } }) {
    const scale = now?.scale;
    if (!scale || !connected) return html`<div class="place"><h1>${words.places.scale}</h1><p>${words.no_connection}</p></div>`;
    const facts = [
      ...this.#rhythm(scale),
      scale.age_ms !== null && fill(w.age, { ms: scale.age_ms }),
      scale.signal_dbm !== null && fill(w.signal, { dbm: scale.signal_dbm }),
      scale.battery_percent !== null && fill(w.battery, { percent: scale.battery_percent }),
      scale.promised_step_g !== null && fill(w.promised, { grams: amount(scale.shown.promised_step_g, 2) }),
      scale.skipped > 0 && fill(w.skipped, { n: scale.skipped }),
    ];
    return html`<div class="place"><h1>${words.places.scale}</h1>${this.#test.running(now)}${this.#calibrate.running(now)}
      <p class="weight">${grams(scale.shown.mass_g)} <span>${words.gram}</span></p>
      <p class="name">${words.scale_states[scale.state]}${scale.state === "live" ? `, ${scale.settled ? words.settled : words.moving}` : ""}</p>
      <p class=${scale.trouble ? "wrong" : "calm"}>${scale.trouble ?? w.trouble_none}</p>
      ${[scale.lag_test, scale.routine].some((led) => led && led.wants !== "done") ? "" : this.#more(now, facts)}</div>`;
  }

  /** What is not wanted while the scale is measured. */
  #more(now, facts) {
    return html`<ul class="list">${facts.filter(Boolean).map((fact) => html`<li>${fact}</li>`)}</ul>
      ${this.#calibrate.idle(now)}
      ${late(now)}
      ${this.#test.idle(now)}
      ${this.#known("jug", now.scale)}
      ${this.#known("spare", now.scale)}
      <section><h2>${w.sound}</h2>${this.#sound(now.sound)}</section>
      <section><h2>${w.screen}</h2><label class="choice"><input type="checkbox" .checked=${this.#mirror}
        @change=${(event) => this.#set(event.target.checked)}>${w.mirror}</label></section>
      <section><h2>${w.setup}</h2><ol>${w.steps.map((step) => html`<li>${step}</li>`)}</ol><p>${w.safe}</p></section>`;
  }
}
