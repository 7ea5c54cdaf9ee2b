// The scale as it is seen, the sound, how to set the scale up, and this screen's own choices.
import { html } from "./lit-html.js";
import { fill, grams, words } from "./say.js";

const w = words.scale;
/** Readings are counted over this long. */
const SPAN_US = 5e6;
const MIRROR = "tarebell.picture-right";

const kept = () => { try { return localStorage.getItem(MIRROR) === "yes"; } catch { return false; } };

export class ScalePlace {
  #soon;
  #counts = [];
  #mirror = kept();

  constructor(soon) {
    this.#soon = soon;
    this.#set(this.#mirror);
  }

  #set(mirror) {
    this.#mirror = mirror;
    document.documentElement.dataset.picture = mirror ? "right" : "left";
    // Without storage the choice lasts until the page is closed.
    try { localStorage.setItem(MIRROR, mirror ? "yes" : "no"); } catch { /* as said */ }
    this.#soon();
  }

  /** Notes how many readings there were by when. */
  count(now) {
    if (!now) return;
    // What came before a silence is no pace any more.
    if (now.scale.state !== "live") this.#counts = [];
    const last = this.#counts[this.#counts.length - 1];
    if (last && now.at_us < last.at) this.#counts = [];
    if (!last || now.at_us !== last.at) this.#counts.push({ at: now.at_us, n: now.scale.readings });
    while (this.#counts.length > 2 && now.at_us - this.#counts[0].at > SPAN_US) this.#counts.shift();
  }

  #rate() {
    const first = this.#counts[0], last = this.#counts[this.#counts.length - 1];
    const us = first ? last.at - first.at : 0;
    if (us < 1e6 || last.n === first.n) return w.rate_unknown;
    return fill(w.rate, { n: ((last.n - first.n) / (us / 1e6)).toFixed(1) });
  }

  #sound(sound) {
    if (!sound) return html`<p>${w.sound_unknown}</p>`;
    const late = sound.latency_us ? fill(w.latency, { ms: Math.round(sound.latency_us / 1000) }) : "";
    return html`<p>${[sound.device, sound.words ?? sound.state, late].filter(Boolean).join(" · ")}</p>`;
  }

  /** The whole place. */
  show({ live: { now, connected } }) {
    const scale = now?.scale;
    if (!scale || !connected) return html`<div class="place"><h1>${words.places.scale}</h1><p>${words.no_connection}</p></div>`;
    const facts = [
      scale.state === "live" && this.#rate(),
      scale.age_ms !== null && fill(w.age, { ms: scale.age_ms }),
      scale.signal_dbm !== null && fill(w.signal, { dbm: scale.signal_dbm }),
      scale.battery_percent !== null && fill(w.battery, { percent: scale.battery_percent }),
      scale.skipped > 0 && fill(w.skipped, { n: scale.skipped }),
    ];
    return html`<div class="place"><h1>${words.places.scale}</h1>
      <p class="weight">${grams(scale.mass_g)} <span>${words.gram}</span></p>
      <p class="name">${words.scale_states[scale.state]}${scale.state === "live" ? `, ${scale.settled ? words.settled : words.moving}` : ""}</p>
      <p class=${scale.trouble ? "wrong" : "calm"}>${scale.trouble ?? w.trouble_none}</p>
      <ul class="list">${facts.filter(Boolean).map((fact) => html`<li>${fact}</li>`)}</ul>
      <section><h2>${w.sound}</h2>${this.#sound(now.sound)}</section>
      <section><h2>${w.screen}</h2><label class="choice"><input type="checkbox" .checked=${this.#mirror}
        @change=${(event) => this.#set(event.target.checked)}>${w.mirror}</label></section>
      <section><h2>${w.setup}</h2><ol>${w.steps.map((step) => html`<li>${step}</li>`)}</ol><p>${w.safe}</p></section></div>`;
  }
}
