// Pieces found again: by day, glaze, verdict, words in a label or a batch's name.
import { html, nothing } from "./lit-html.js";
import { ask, fill, grams, words } from "./say.js";
import { mark } from "./marks.js";
import { day } from "./picture.js";

const w = words.find;

export class Find {
  #soon;
  #go;
  #found = null;
  #wrong = "";

  constructor(soon, go) {
    this.#soon = soon;
    this.#go = go;
  }

  async #look(event) {
    event.preventDefault();
    const form = event.target;
    this.#wrong = "";
    const asked = new URLSearchParams();
    for (const field of ["from", "glaze", "verdict", "words"]) {
      const text = form.elements[field].value.trim();
      if (text) asked.set(field, text);
    }
    // The last day counts too.
    const to = form.elements.to.valueAsDate;
    if (to) asked.set("before", new Date(to.getTime() + 86400000).toISOString().slice(0, 10));
    try {
      this.#found = await ask(`/api/pours?${asked}`);
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  async #label(p, event) {
    try {
      Object.assign(p, await ask(`/api/pours/${p.id}/label`, { label: event.target.value.trim() }));
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  #row(p) {
    return html`<tr><td>${day(p.started_at)}</td><td><button type="button" class="plain" @click=${() => this.#go(p.batch)}>${p.batch_name} · ${p.piece}</button></td>
      <td class="verdict">${mark(p.verdict)} ${words.verdicts[p.verdict]}</td><td class="figure">${grams(p.shown.net_g)}</td>
      <td><input name="label" aria-label=${fill(w.label_of, { piece: p.piece })} maxlength="80" .value=${p.label ?? ""} @change=${(e) => this.#label(p, e)}></td></tr>`;
  }

  #table() {
    if (!this.#found) return "";
    if (!this.#found.length) return html`<p role="status">${w.none}</p>`;
    return html`<p role="status">${fill(this.#found.length === 200 ? w.many : w.some, { n: this.#found.length })}</p>
      <div class="wide"><table><thead><tr><th scope="col">${w.day}</th><th scope="col">${w.batch}</th><th scope="col">${words.log.verdict}</th>
      <th scope="col" class="figure">${words.log.net}</th><th scope="col">${w.label}</th></tr></thead><tbody>${this.#found.map((p) => this.#row(p))}</tbody></table></div>`;
  }

  /** Folded away until it is opened. */
  show() {
    const field = (name, type) => html`<label>${w[name]}<input name=${name} type=${type} maxlength=${type === "text" ? 80 : nothing}></label>`;
    return html`<details><summary>${w.head}</summary><form @submit=${(e) => this.#look(e)}>
      ${field("from", "date")}${field("to", "date")}${field("glaze", "text")}
      <label>${words.log.verdict}<select name="verdict"><option value="">${w.any}</option>${Object.entries(words.verdicts).map(([word, text]) =>
        html`<option value=${word}>${text}</option>`)}</select></label>${field("words", "text")}
      <button>${w.look}</button></form><p class="wrong" role="alert">${this.#wrong}</p>${this.#table()}</details>`;
  }
}
