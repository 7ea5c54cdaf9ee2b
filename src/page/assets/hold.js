// A button that must be held: a splash or a sleeve does not hold for a second.
import { html } from "./lit-html.js";

const HOLD_MS = 1000;

export class Hold {
  #soon;
  #timer = 0;
  /** Which button is held, or null. */
  #held = null;

  constructor(soon) {
    this.#soon = soon;
  }

  #press(key, done) {
    if (this.#held !== null) return;
    this.#held = key;
    this.#timer = setTimeout(() => { this.#held = null; done(); this.#soon(); }, HOLD_MS);
    this.#soon();
  }

  #release = () => {
    clearTimeout(this.#timer);
    this.#held = null;
    this.#soon();
  };

  #key(event, key, done) {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) this.#press(key, done);
  }

  /** The button `key`; says `word`, while it is held `holding`, and then does it. */
  button(key, word, holding, done) {
    const held = this.#held === key;
    return html`<button type="button" class="hold" data-held=${held ? "yes" : "no"} @pointerdown=${() => this.#press(key, done)}
      @pointerup=${this.#release} @pointerleave=${this.#release} @pointercancel=${this.#release}
      @keydown=${(event) => this.#key(event, key, done)} @keyup=${this.#release} @blur=${this.#release}
      @contextmenu=${(event) => event.preventDefault()}>${held ? holding : word}</button>`;
  }
}
