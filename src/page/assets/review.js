// How even it was: one sentence, the board of pieces with their marks, the run chart; all else is folded away.
import { html, nothing } from "./lit-html.js";
import { amount, ask, fill, grams, words } from "./say.js";
import { curve } from "./curve.js";
import { mark, marked } from "./marks.js";
import { day, picture } from "./picture.js";
import { Compare } from "./compare.js";
import { Find } from "./find.js";
import { Keep } from "./keep.js";

const w = words.review;
const RULES = Object.keys(w.rules);
/** Batches to choose from; older ones are found below. */
const LATEST = 200;

const number = (value, digits) => (value === null || value === undefined ? "–" : value.toFixed(digits).replace(/^-(?=[0.]*$)/, "").replace("-", "−"));

export class ReviewPlace {
  #soon;
  #batches = [];
  #chosen = null;
  #told = null;
  #pours = [];
  #wrong = "";
  #seen = null;
  /** As they are kept for this log. */
  #rules = null;
  #plots = false;
  /** The piece that is looked at: its record, and its curve once it came. */
  #open = null;
  #compare;
  #find;
  #keep;

  constructor(soon) {
    this.#soon = soon;
    this.#compare = new Compare(soon);
    this.#find = new Find(soon, (id) => this.#choose(id));
    this.#keep = new Keep(soon, () => this.open({}));
  }

  async open(state) {
    try {
      this.#rules ??= new Set((await ask("/api/history/rules")).rules);
      this.#batches = await ask(`/api/batches?latest=${LATEST}`);
      this.#chosen = state.batch?.id ?? this.#chosen ?? (this.#batches.find((b) => b.begun_at) ?? this.#batches[0])?.id ?? null;
      await this.#load();
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  #choose(id) {
    this.#chosen = id;
    this.#told = this.#open = null;
    this.#load();
    document.querySelector("main")?.scrollTo(0, 0);
  }

  get #asked() {
    return this.#rules.size ? [...this.#rules].join(",") : "none";
  }

  async #load() {
    this.#wrong = "";
    const id = this.#chosen;
    if (!id) return;
    try {
      const [told, pours] = await Promise.all([ask(`/api/batches/${id}/review?rules=${this.#asked}`), ask(`/api/batches/${id}/pours`)]);
      if (id !== this.#chosen) return;
      this.#told = told;
      this.#pours = pours.filter((p) => p.rev >= 1);
    } catch (error) {
      this.#wrong = error.message;
    }
    this.#soon();
  }

  async #look(p) {
    if (this.#open?.p.id === p.id) {
      this.#open = null;
      return this.#soon();
    }
    this.#open = { p, curve: null };
    this.#soon();
    try {
      const found = await ask(`/api/pours/${p.id}/curve`);
      if (this.#open?.p.id === p.id) this.#open = { p, curve: found };
    } catch (error) {
      this.#wrong = error.message;
    }
    return this.#soon();
  }

  #board() {
    // A number may stand twice in what was brought in.
    const meant = (p) => `${p.piece} ${p.net_g}`;
    const look = new Map(this.#told.look.map((l) => [meant(l), l.why]));
    const piece = (p) => html`<li data-look=${(p.verdict !== "void" && look.get(meant(p))) || nothing}><button type="button" class="plain"
      aria-expanded=${this.#open?.p.id === p.id ? "true" : "false"} @click=${() => this.#look(p)}>${mark(p.verdict)}<span aria-hidden="true">${p.piece}</span>
      <span class="unseen">${fill(words.mark, { piece: p.piece, verdict: words.verdicts[p.verdict] })}${look.has(meant(p)) ? `, ${w.why[look.get(meant(p))]}` : ""}</span></button></li>`;
    const { p, curve: points } = this.#open ?? {};
    return html`<ul class="board" aria-label=${w.board}>${this.#pours.map(piece)}</ul>
      ${points ? html`<div class="look-row">${curve(points, p.piece, [fill(w.got, { grams: grams(p.shown.net_g) }), ...marked(p)])}</div>` : ""}`;
  }

  #plot(plot) {
    // Drawn anew when pieces were added or other rules are looked for.
    const more = `&rules=${this.#asked}${this.#told.n ? `#${this.#told.n}` : ""}`;
    return html`<figure class="told-by"><figcaption><b>${plot.title}</b> ${plot.says}</figcaption>
      ${picture(`/api/batches/${this.#told.batch}/plots/${plot.plot}`, `${plot.title}. ${this.#told.sentence}`, more)}</figure>`;
  }

  #rulesChosen() {
    const turn = (rule) => {
      this.#rules.has(rule) ? this.#rules.delete(rule) : this.#rules.add(rule);
      ask("/api/history/rules", { rules: [...this.#rules] }).then(() => this.#load(), (error) => { this.#wrong = error.message; this.#soon(); });
    };
    return html`<fieldset><legend>${w.rules_label}</legend>${RULES.map((rule) => html`<label class="choice"><input type="checkbox"
      name="rule" value=${rule} .checked=${this.#rules.has(rule)} @change=${() => turn(rule)}>${w.rules[rule]}</label>`)}</fieldset>`;
  }

  #signals() {
    const { signals } = this.#told.individuals;
    if (this.#told.coarse || !signals.length) return html`<p>${this.#told.coarse ? w.coarse : w.no_signal}</p>`;
    return html`<ul class="list">${signals.map((s) => html`<li>${fill(w.signal, { piece: s.piece, says: s.says })}</li>`)}</ul>`;
  }

  #numbers() {
    const t = this.#told, c = t.capability, y = t.yardsticks;
    const percent = (share) => (share === null ? "–" : `${Math.round(100 * share)} %`);
    const range = (low, high, digits) => (low === null ? "" : fill(w.range, { low: number(low, digits), high: number(high, digits) }));
    const weight = (v, digits) => `${amount(v, digits).replace("-", "−")} ${words.gram}`;
    const rows = [
      [w.numbers.n, `${t.n}`, t.void ? fill(w.void, { n: t.void }) : ""],
      [w.numbers.mean, weight(t.shown.mean_g, 2), ""],
      [w.numbers.spread, weight(t.shown.sd_g, 2), t.cv_percent === null ? "" : `${number(t.cv_percent, 1)} %`],
      [w.numbers.bias, weight(t.shown.bias_g, 2), range(t.shown.bias_low95_g, t.shown.bias_high95_g, 2 + words.units.finer)],
      [w.numbers.within, percent(t.share_within), t.share_estimated === null ? "" : fill(w.estimated, { share: percent(t.share_estimated) })],
      [w.numbers.hand, weight(t.spread.shown.hand_g, 2), t.spread.scale_g === null ? "" : fill(w.scale_part, { g: amount(t.spread.shown.scale_g, 2) })],
      ["Cp, Cpk", `${number(c.cp, 2)}, ${number(c.cpk, 2)}`, range(c.cpk_low95, c.cpk_high95, 2)],
      ["Pp, Ppk", `${number(c.pp, 2)}, ${number(c.ppk, 2)}`, range(c.ppk_low95, c.ppk_high95, 2)],
      [w.numbers.drift, weight(t.drift.shown.slope_g_per_piece, 3), t.drift.p_value === null ? "" : fill(w.chance, { p: t.drift.p_value.toFixed(3) })],
      [w.numbers.r61, y.r61_class === null ? "–" : `X(${y.r61_class})`, w.yardstick],
    ];
    return html`<table class="numbers"><tbody>${rows.map(([what, value, more]) => html`<tr><th scope="row">${what}</th>
      <td class="figure">${value}</td><td>${more}</td></tr>`)}</tbody></table><p class="known">${w.bucket}</p>`;
  }

  #folded() {
    const [, ...rest] = this.#told.plots;
    const opened = (event) => { this.#plots = event.target.open; this.#soon(); };
    return html`<details @toggle=${opened}><summary>${w.plots}</summary>${this.#plots ? html`${this.#signals()}${rest.map((p) => this.#plot(p))}${this.#rulesChosen()}` : ""}</details>
      <details><summary>${w.in_numbers}</summary>${this.#numbers()}</details>
      <p class="acts"><a class="button" href=${`/report/${this.#told.batch}`} target="_blank" rel="noopener">${w.paper}</a></p>`;
  }

  #batch() {
    const t = this.#told;
    if (!t) return this.#wrong ? "" : html`<p>${w.none}</p>`;
    const run = t.plots.find((p) => p.plot === "run");
    return html`<p class="glance" role="status">${t.sentence}</p>
      ${this.#board()}
      ${run ? this.#plot(run) : ""}
      ${t.warnings.map((text) => html`<p class="note">${text}</p>`)}
      ${t.n ? this.#folded() : ""}`;
  }

  /** An older one that was found is among them. */
  #choices() {
    const t = this.#told;
    return t && !this.#batches.some((b) => b.id === t.batch) ? [{ ...t, id: t.batch }, ...this.#batches] : this.#batches;
  }

  /** The whole place; the batch under way is kept up with. */
  show(state) {
    if (state.batch?.id === this.#chosen && this.#seen !== state.pours) {
      this.#seen = state.pours;
      this.#load();
    }
    const choose = (event) => this.#choose(event.target.value);
    return html`<div class="place review"><h1>${words.places.review}</h1>
      <p class="wrong" role="alert">${this.#wrong}</p>
      ${this.#batches.length ? html`<label>${w.which}<select @change=${choose}>${this.#choices().map((b) => html`<option
        value=${b.id} ?selected=${b.id === this.#chosen}>${day(b.created_at)} · ${b.name}</option>`)}</select></label>` : nothing}
      ${this.#batch()}
      ${this.#batches.length ? html`${this.#compare.show()}${this.#find.show()}` : ""}${this.#keep.show()}</div>`;
  }
}
