// Batches compared: over time, by glaze, form, guidance; by who pours only where that was switched on.
import { html } from "./lit-html.js";
import { amount, ask, fill, words } from "./say.js";
import { Hold } from "./hold.js";
import { picture } from "./picture.js";

const w = words.compare;

export class Compare {
  #soon;
  #hold;
  #by = "time";
  #told = null;
  #wrong = "";
  #said = "";

  constructor(soon) {
    this.#soon = soon;
    this.#hold = new Hold(soon);
  }

  async #load(by) {
    this.#by = by;
    this.#wrong = "";
    try {
      this.#told = await ask(`/api/trend?by=${by}`);
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  async #turn(on) {
    try {
      await ask("/api/history/by-pourer", { on });
    } catch (error) {
      this.#wrong = error.message;
    }
    return this.#load(on ? "pourer" : "time");
  }

  async #forget(pourer) {
    this.#said = "";
    try {
      const { done } = await ask("/api/history/forget", { pourer });
      this.#said = fill(w.forgotten, { pourer, done });
    } catch (error) {
      this.#wrong = error.message;
    }
    return this.#load(this.#by);
  }

  #row(g) {
    const number = (value, digits) => (value === null ? "–" : value.toFixed(digits).replace(/^-(?=[0.]*$)/, "").replace("-", "−"));
    return html`<tr><th scope="row">${g.name}</th><td class="figure">${g.n}</td><td class="figure">${number(g.sd_percent, 1)}</td>
      <td class="figure">${amount(g.shown.bias_g, 2).replace("-", "−")}</td><td class="figure">${g.share_within === null ? "–" : Math.round(100 * g.share_within)}</td></tr>`;
  }

  #pourers() {
    const on = this.#told.by_pourer;
    const names = this.#by === "pourer" ? [...new Set(this.#told.groups.map((g) => g.of))].filter((name) => name !== "not told") : [];
    return html`<label class="choice"><input type="checkbox" name="by_pourer" .checked=${on} @change=${() => this.#turn(!on)}>${w.switch}</label>
      ${names.map((name) => this.#hold.button(`forget ${name}`, fill(w.forget, { pourer: name }), words.batch.ending, () => this.#forget(name)))}`;
  }

  #body() {
    const t = this.#told;
    if (!t) return "";
    const ways = ["time", "glaze", "form", "guidance", ...(t.by_pourer ? ["pourer"] : [])];
    return html`<fieldset><legend>${w.by}</legend>${ways.map((by) => html`<label class="choice"><input type="radio" name="compare_by"
        value=${by} .checked=${by === this.#by} @change=${() => this.#load(by)}>${w.ways[by]}</label>`)}</fieldset>
      <p class="result" role="status">${t.sentence}</p>
      ${t.groups.length > 1 ? picture("/api/trend/plot", t.sentence, `&by=${this.#by}#${t.groups.length}`) : ""}
      ${t.groups.length ? html`<div class="wide"><table><thead><tr><th scope="col">${w.ways[this.#by]}</th><th scope="col" class="figure">${w.n}</th>
        <th scope="col" class="figure">${w.spread}</th><th scope="col" class="figure">${w.bias}</th><th scope="col" class="figure">${w.within}</th></tr></thead>
        <tbody>${t.groups.map((g) => this.#row(g))}</tbody></table></div>` : ""}
      ${this.#pourers()}`;
  }

  /** Folded away until it is opened. */
  show() {
    const opened = (event) => { if (event.target.open && !this.#told) this.#load(this.#by); };
    return html`<details @toggle=${opened}><summary>${w.head}</summary>
      <p class="wrong" role="alert">${this.#wrong}</p><p class="said" role="status">${this.#said}</p>${this.#body()}</details>`;
  }
}
