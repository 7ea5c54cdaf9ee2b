// The log as a whole: brought in from a table (looked at first), handed out, copied, put back.
import { html } from "./lit-html.js";
import { ask, fill, grams, words } from "./say.js";
import { Hold } from "./hold.js";
import { day } from "./picture.js";

const w = words.keep;
const COLUMNS = Object.keys(w.columns);

export class Keep {
  #soon;
  #hold;
  #changed;
  #csv = null;
  #usual = {};
  #look = null;
  #said = "";
  #wrong = "";
  #backups = null;

  constructor(soon, changed) {
    this.#soon = soon;
    this.#changed = changed;
    this.#hold = new Hold(soon);
  }

  async #try(work) {
    this.#wrong = this.#said = "";
    try {
      await work();
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  #body(mapping) {
    return { csv: this.#csv, ...this.#usual, ...(mapping ? { mapping } : {}) };
  }

  #again(mapping) {
    return this.#try(async () => { this.#look = await ask("/api/history/look", this.#body(mapping)); });
  }

  async #file(event) {
    const [file] = event.target.files;
    if (!file) return;
    this.#csv = await file.text();
    this.#look = null;
    await this.#again();
  }

  #told(name, event) {
    const g = Number(event.target.value.replace(",", "."));
    if (event.target.value.trim() && Number.isFinite(g)) this.#usual[name] = g;
    else delete this.#usual[name];
    if (this.#csv && [0, 3].includes(Object.keys(this.#usual).length)) this.#again(this.#look?.mapping);
  }

  #import(without_faults) {
    return this.#try(async () => {
      const { done } = await ask("/api/history/import", { ...this.#body(this.#look.mapping), ...(without_faults ? { without_faults } : {}) });
      this.#said = fill(w.done, { done });
      this.#csv = this.#look = null;
      this.#changed();
    });
  }

  #mapping() {
    const { heads, mapping } = this.#look;
    const set = (column, event) => this.#again({ ...mapping, columns: { ...mapping.columns, [column]: event.target.value } });
    return html`<div class="fields">${COLUMNS.map((column) => html`<label>${w.columns[column]}<select name=${`column_${column}`} @change=${(e) => set(column, e)}>
        <option value="">${w.not_there}</option>${heads.map((head) => html`<option value=${head} ?selected=${mapping.columns[column] === head}>${head}</option>`)}</select></label>`)}
      <label>${w.dates}<select @change=${(e) => this.#again({ ...mapping, dates: e.target.value })}>${Object.entries(w.orders).map(([word, text]) =>
        html`<option value=${word} ?selected=${mapping.dates === word}>${text}</option>`)}</select></label>
      <label class="choice"><input type="checkbox" .checked=${mapping.comma} @change=${() => this.#again({ ...mapping, comma: !mapping.comma })}>${w.comma}</label></div>`;
  }

  #looked() {
    const l = this.#look;
    if (!l) return "";
    const fresh = l.lines - l.known;
    return html`<p role="status">${fill(w.would, { lines: l.lines, known: l.known, faulty: l.faulty })}</p>${this.#mapping()}
      <div class="wide"><table><thead><tr><th scope="col">${w.line}</th><th scope="col">${w.columns.batch}</th><th scope="col">${w.columns.date}</th><th scope="col" class="figure">${w.columns.grams}</th>
      <th scope="col" class="figure">${w.columns.target}</th></tr></thead><tbody>${l.rows.map((r) => html`<tr><td>${r.line}</td><td>${r.batch ?? ""}</td><td>${r.at ? day(r.at) : ""}</td>
      <td class="figure">${grams(r.net_g)}</td><td class="figure">${grams(r.target_g)}</td></tr>`)}</tbody></table></div>
      ${l.faults.length ? html`<ul class="list">${l.faults.map((f) => html`<li>${fill(w.fault, f)}</li>`)}</ul>` : ""}
      <p class="acts">${fresh ? html`<button type="button" @click=${() => this.#import(l.faulty > 0)}>${fill(l.faulty ? w.bring_some : w.bring, { n: fresh })}</button>` : w.all_known}</p>`;
  }

  #copies() {
    const load = async () => { this.#backups = await ask("/api/backups"); };
    const make = () => this.#try(async () => {
      const { name } = await ask("/api/backups", {});
      this.#said = fill(w.copied, { name });
      await load();
    });
    const back = (name) => this.#try(async () => {
      const before = await ask(`/api/backups/${name}/restore`, {});
      this.#said = fill(w.put_back, { name, before: before.name });
      await load();
      this.#changed();
    });
    if (!this.#backups) this.#try(load);
    return html`<p class="acts"><button type="button" class="plain" @click=${make}>${w.copy}</button></p>
      <ul class="shelf">${(this.#backups ?? []).map(({ name, bytes }) => html`<li><a href=${`/api/backups/${name}`} download=${name}>${name}</a> ${Math.ceil(bytes / 1000)} kB
        ${this.#hold.button(`back ${name}`, fill(w.back, { name }), words.batch.ending, () => back(name))}</li>`)}</ul>`;
  }

  #opened = false;

  /** Folded away until it is opened. */
  show() {
    const opened = (event) => { this.#opened = event.target.open; this.#soon(); };
    const gram = (name) => html`<label>${w[name]}<input name=${`usual_${name}`} inputmode="decimal" @change=${(e) => this.#told(name, e)}></label>`;
    return html`<details class="keep" @toggle=${opened}><summary>${w.head}</summary><p class="wrong" role="alert">${this.#wrong}</p><p class="said" role="status">${this.#said}</p>
      ${this.#opened ? html`<h2>${w.in}</h2><p>${w.in_says}</p><label>${w.file}<input type="file" name="csv" accept=".csv,text/csv,text/plain" @change=${(e) => this.#file(e)}></label>
      <div class="fields">${gram("target_g")}${gram("low_g")}${gram("high_g")}</div>${this.#looked()}
      <h2>${w.out}</h2><p class="acts"><a class="button" href="/api/history.csv" download="tarebell.csv">${w.csv}</a></p>
      <h2>${w.whole}</h2><p>${w.whole_says}</p>${this.#copies()}` : ""}</details>`;
  }
}
