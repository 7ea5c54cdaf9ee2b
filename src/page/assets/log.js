// What each piece got, against its limits; its curve, and the way out of the count, one tap away.
import { html, nothing, svg } from "./lit-html.js";
import { ask, fill, grams, signed, words } from "./say.js";
import { curve } from "./curve.js";
import { Hold } from "./hold.js";
import { mark, marked } from "./marks.js";
import { thickness } from "./section.js";

const w = words.log;

/** The day here, as 2026-11-25: the stamp itself is in UTC. */
const day = (stamp) => {
  const at = new Date(stamp), two = (n) => String(n).padStart(2, "0");
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
};

/** A slice of the wall with its coat, as in the section: the two lines are the limits. */
function slice(p) {
  if (p.net_g === null) return "";
  const x = (net) => 10 + 4 * thickness(net, p.low_g, p.high_g);
  return html`<svg class="slice" viewBox="0 0 120 20" preserveAspectRatio="none" aria-hidden="true">
    <path class="wall" d="M0 0 H10 V20 H0 Z"/>${svg`<path class="coat" d="M10 5 H${x(p.net_g)} V15 H10 Z"/>
    <path class="limit" d="M${x(p.low_g)} 0 V20 M${x(p.high_g)} 0 V20"/>`}</svg>`;
}

/** Batches asked for at once; older ones when they are wanted. */
const BATCHES = 100;

export class LogPlace {
  #soon;
  #hold;
  #batches = [];
  #most = BATCHES;
  #chosen = null;
  #pours = [];
  #wrong = "";
  #said = "";
  #seen = null;
  /** The pour that is looked at: its id, the revision it was drawn from, and its curve. */
  #open = null;

  constructor(soon) {
    this.#soon = soon;
    this.#hold = new Hold(soon);
  }

  async open(state) {
    this.#said = "";
    try {
      this.#batches = await ask(`/api/batches?latest=${this.#most}`);
      this.#chosen = state.batch?.id ?? this.#chosen ?? this.#batches[0]?.id ?? null;
      await this.#load();
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  /** Four times as many; where they can't be had, list and button stay as they are. */
  async #older() {
    const most = 4 * this.#most;
    this.#wrong = "";
    try {
      this.#batches = await ask(`/api/batches?latest=${most}`);
      this.#most = most;
      // They stand in the list, and the button may be gone.
      document.querySelector(".place select")?.focus();
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  async #load() {
    this.#wrong = "";
    const id = this.#chosen;
    if (!id) return;
    try {
      const pours = await ask(`/api/batches/${id}/pours`);
      if (id === this.#chosen) this.#pours = pours.filter((p) => p.rev >= 1 || p.interrupted);
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  async #look(p) {
    if (this.#open?.id === p.id) {
      this.#open = null;
      return this.#soon();
    }
    this.#open = { id: p.id, curve: null };
    this.#soon();
    try {
      const found = await ask(`/api/pours/${p.id}/curve`);
      if (this.#open?.id === p.id) this.#open = { id: p.id, curve: found };
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  /** Out of the count, and perhaps poured again under its number. */
  async #out(p, how, said) {
    this.#wrong = "";
    try {
      await ask(`/api/pours/${p.id}/${how}`, {});
      await this.#load();
      this.#said = fill(said, { piece: p.piece });
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  #row(p) {
    const open = this.#open?.id === p.id;
    const look = (event) => { event.stopPropagation(); this.#look(p); };
    return html`<tr class="piece-row" data-open=${open ? "yes" : "no"} @click=${look}><th scope="row"><button type="button" class="look"
        aria-expanded=${open ? "true" : "false"} aria-controls=${open ? "look" : nothing} aria-label=${fill(w.look, { piece: p.piece })}
        @click=${look}>${p.piece}<svg viewBox="0 0 20 12" aria-hidden="true"><path d="M1 11 C6 11 6 2 11 2 H19"/></svg></button></th>
      <td class="verdict">${mark(p.verdict)} ${words.verdicts[p.verdict]}
      ${p.settled || p.net_g === null ? "" : html`<small>${w.lifted}</small>`}
      ${marked(p).map((words) => html`<small>${words}</small>`)}</td>
      <td class="figure">${grams(p.shown.net_g)}</td>
      <td class="figure">${p.net_g === null ? "–" : signed(p.shown.off_g)}</td><td class="lies">${slice(p)}</td></tr>
      ${open ? html`<tr id="look" class="look-row"><td colspan="5">${this.#looked(p)}</td></tr>` : ""}`;
  }

  #looked(p) {
    const ended = this.#batches.find((b) => b.id === p.batch)?.ended_at;
    const may = p.verdict !== "void" && !ended;
    const { piece } = p;
    const newest = !this.#pours.some((o) => o.piece === piece && o.started_at > p.started_at);
    const hold = (key, word, done) => this.#hold.button(`${key} ${p.id}`, fill(word, { piece }), words.batch.ending, done);
    return html`${this.#open.curve ? curve(this.#open.curve, piece, marked(p)) : ""}
      ${may ? hold("void", w.void, () => this.#out(p, "void", w.voided)) : ""}
      ${!ended && newest ? hold("redo", w.redo, () => this.#out(p, "redo", w.redone)) : ""}`;
  }

  #table() {
    const pours = this.#pours;
    if (!pours.length) return html`<p>${w.none}</p>`;
    const limits = fill(w.against, { low: grams(pours[0].shown.low_g), high: grams(pours[0].shown.high_g) });
    return html`<p>${limits} ${w.tap}</p><table><thead><tr><th scope="col">${w.piece}</th><th scope="col">${w.verdict}</th>
      <th scope="col" class="figure">${w.net}</th><th scope="col" class="figure">${w.off}</th>
      <th scope="col" class="lies">${w.coat}</th></tr></thead>
      <tbody>${pours.map((p) => this.#row(p))}</tbody></table>
      <p class="acts"><a class="button" href="/api/batches/${this.#chosen}/pours.csv" download="pours.csv">${w.csv}</a></p>`;
  }

  /** The whole place; the batch under way is kept up with. */
  show(state) {
    if (state.batch?.id === this.#chosen && this.#seen !== state.pours) {
      this.#seen = state.pours;
      this.#load();
    }
    const choose = (event) => { this.#chosen = event.target.value; this.#pours = []; this.#open = null; this.#load(); };
    return html`<div class="place"><h1>${words.places.log}</h1><p class="said" role="status">${this.#said}</p>
      <p class="wrong" role="alert">${this.#wrong}</p>
      ${this.#batches.length ? html`<label>${w.which}<select @change=${choose}>${this.#batches.map((b) => html`<option
        value=${b.id} ?selected=${b.id === this.#chosen}>${day(b.created_at)} · ${b.name}</option>`)}</select></label>
        ${this.#batches.length === this.#most ? html`<button type="button" class="plain" @click=${() => this.#older()}>${w.older}</button>` : ""}` : nothing}
      ${this.#table()}</div>`;
  }
}
