// The scale against reference masses: what it is known to be, the routine that leads through its steps, the daily check.
import { html } from "./lit-html.js";
import { amount, ask, fill, words } from "./say.js";
import { Fields } from "./fields.js";

const w = words.calibrate;
/** A weight with its unit, as it may be stamped on a mass. */
const MARKED = /^[0-9.,]+\s*(g|oz)$/;
/** What is off, with its sign. */
const off = (g) => {
  const text = amount(g, 2);
  return g > 0 && Number(text) ? `+${text}` : text.replace("-", "−");
};
const UNSURE = /^u\s*([0-9.,]+)$/i;

const day = (at) => new Date(at).toLocaleDateString();

/** What is spoken of a routine; empty where there is none. */
export const spokenOf = (routine) => (routine ? [routine.amiss_says, routine.wants === "stay" ? "" : routine.says].filter(Boolean).join(" ") : "");

export class Calibrate {
  #soon;
  #hold;
  #fields;
  #rows = [0, 1];
  #next = 2;
  #parts = new Set(["corners"]);
  /** What is known of a row's mass beside what stands in its fields: its name. */
  #given = new Map();
  /** Masses that have no row here, such as water. */
  #others = [];
  #wrong = "";
  /** The calibration that the scale goes by, with all that is known by it, and the checks since. */
  #known = null;
  #checks = [];
  #count = 0;
  #loaded = null;
  /** The latest that was kept and is not gone by. */
  #unused = null;

  constructor(soon, hold) {
    this.#soon = soon;
    this.#hold = hold;
    this.#fields = new Fields(soon);
  }

  /** Asks once for what is kept, and again when a calibration or a check came of the pan. */
  #load(scale) {
    const key = [scale.calibration?.id, scale.check?.id, scale.routine?.result].join();
    if (this.#loaded === key) return;
    const first = this.#loaded === null;
    this.#loaded = key;
    this.#fetch(scale, first).catch(() => { this.#loaded = null; });
  }

  /** All of it is shown at once, so that no masses are typed that would be replaced. */
  async #fetch({ calibration }, first) {
    const [all, checks, kept] = await Promise.all([ask("/api/calibrations"), ask("/api/scale/checks"), first && ask("/api/masses")]);
    this.#known = all.find((c) => c.id === calibration?.id) ?? null;
    this.#unused = all[0] && !all[0].in_force && (all[0].verdict === "too-coarse" || all[0].misfit_g !== null) ? all[0] : null;
    this.#count = all.length;
    this.#checks = checks;
    if (kept) this.#put(kept.masses);
    this.#soon();
  }

  #put(masses) {
    if (!masses.length) return;
    const plain = masses.filter((m) => m.nominal_g !== undefined);
    this.#others = masses.filter((m) => m.nominal_g === undefined);
    this.#rows = plain.map((_, i) => i);
    this.#next = plain.length;
    plain.forEach((m, i) => {
      // As it was told, which may be in another unit than the studio's.
      const grams = !m.coins && MARKED.test(m.name ?? "") && !m.name.endsWith(` ${words.units.g}`) ? m.name : String(Number(m.shown.nominal_g.toFixed(3)));
      this.#given.set(i, { ...m, grams });
      const how = m.class ?? m.mpe_mg ?? (m.uncertainty_mg === undefined ? "" : `U ${m.uncertainty_mg}`);
      this.#fields.put({ [`grams_${i}`]: grams, [`how_${i}`]: how, [`coins_${i}`]: m.coins ?? "", [`dense_${i}`]: m.density_g_ml ?? "" });
    });
  }

  /** As typed, with the name that it was told by before; another mass in the same row has none. */
  #mass(id) {
    const typed = this.#typed(id), given = this.#given.get(id);
    if (given?.grams !== this.#fields.text(`grams_${id}`) || (given.coins ?? 0) !== (typed.coins ?? 0)) return typed;
    return { ...(given.name && { name: given.name }), ...typed, nominal_g: given.nominal_g };
  }

  #typed(id) {
    const dense = this.#fields.text(`dense_${id}`) ? { density_g_ml: this.#fields.number(`dense_${id}`) } : {};
    return { ...this.#weighed(id), ...dense };
  }

  #weighed(id) {
    const text = this.#fields.text(`grams_${id}`), nominal_g = MARKED.test(text) ? text : this.#fields.told(`grams_${id}`, "nominal_g"), coins = this.#fields.number(`coins_${id}`);
    const how = this.#fields.text(`how_${id}`), mg = this.#fields.number(`how_${id}`), sure = UNSURE.exec(how);
    if (coins > 0) return { nominal_g, coins };
    if (sure) return { nominal_g, uncertainty_mg: Number(sure[1].replace(",", ".")) };
    return Number.isFinite(mg) ? { nominal_g, mpe_mg: mg } : { nominal_g, class: how };
  }

  async #do(path, body) {
    this.#wrong = "";
    try {
      await ask(path, body);
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  async #begin(path, more) {
    this.#wrong = "";
    try {
      const masses = [...this.#rows.filter((id) => this.#fields.text(`grams_${id}`)).map((id) => this.#mass(id)), ...this.#others];
      await ask("/api/masses", { masses });
      const room_c = this.#fields.text("room") ? { room_c: this.#fields.number("room") } : {};
      await ask(path, { ...room_c, ...more });
    } catch (error) {
      this.#wrong = fill(words.not_done, { why: error.message });
    }
    this.#soon();
  }

  #row(id, i) {
    const drop = () => { this.#rows = this.#rows.filter((other) => other !== id); this.#soon(); };
    const input = (key, label, more) => this.#fields.input(`${key}_${id}`, `${key}_${id}`, { label: `${label}, ${i + 1}`, free: true, ...more });
    return html`<div class="row mass">${input("grams", w.mass, { text: true })}${input("how", w.class, { text: true })}${input("coins", w.coins)}${input("dense", w.density)}
      <button type="button" class="plain" ?disabled=${this.#rows.length <= 1} @click=${drop}
        aria-label="${w.mass_drop} ${i + 1}"><svg viewBox="0 0 20 20" aria-hidden="true"><path d="M4 4 L16 16 M16 4 L4 16"/></svg></button></div>`;
  }

  #masses() {
    const add = () => { this.#rows = [...this.#rows, this.#next]; this.#next += 1; this.#soon(); };
    return html`<fieldset class="rows"><legend>${w.masses}</legend><p>${w.masses_how}</p>
      <div class="row mass head" aria-hidden="true"><span>${w.mass}</span><span>${w.class}</span><span>${w.coins}</span><span>${w.density}</span><span></span></div>
      ${this.#rows.map((id, i) => this.#row(id, i))}<p>${w.classes}</p>
      <button type="button" class="plain" @click=${add}>${w.mass_add}</button></fieldset>`;
  }

  #more() {
    const turn = (word, on) => { if (on) this.#parts.add(word); else this.#parts.delete(word); this.#soon(); };
    return html`<fieldset><legend>${w.parts}</legend>${Object.entries(w.part).map(([word, label]) => html`<label class="choice"><input
      type="checkbox" name=${`part-${word}`} .checked=${this.#parts.has(word)} @change=${(e) => turn(word, e.target.checked)}>${label}</label>`)}</fieldset>
      <div class="fields">${this.#fields.field("room", w.room, { free: true, hint: words.batch.may_lack })}${this.#fields.field("who", w.who, { free: true, text: true, hint: words.batch.may_lack })}</div><button type="button" class="plain" @click=${() => this.#do("/api/scale/room", { room_c: this.#fields.text("room") ? this.#fields.number("room") : null })}>${w.room_now}</button>`;
  }

  /** What the scale is known to be. */
  #told({ calibration }) {
    if (!calibration) return html`<p>${w.none}</p>`;
    const percent = (1 - calibration.slope) * 100, far = Math.abs(percent) >= 0.005;
    const slope = fill(!far ? w.by_none : percent > 0 ? w.by_more : w.by_less, { percent: Math.abs(percent).toFixed(2) });
    const known = this.#known;
    return html`<p>${fill(w.by, { date: day(calibration.made_at), slope })}</p>
      ${known ? html`<p>${fill(w.judged, { net: amount(known.shown.net_g, 1), u: amount(2 * known.shown.net_u_g, 2), verdict: w.verdicts[known.verdict], tolerance: amount(known.shown.tolerance_g, 2) })}
        ${known.smallest_pour_g === null ? "" : fill(w.smallest, { grams: amount(known.shown.smallest_pour_g, 1) })}</p>
        <ul class="list">${known.warnings.map((warning) => html`<li>${warning}</li>`)}</ul>
        <p><a class="button plain" href=${`/calibrations/${known.id}`} target="_blank" rel="noopener">${w.record}</a></p>` : ""}`;
  }

  #picture(path, what) {
    const url = (look) => `${path}?${look}n=${this.#checks.length}`;
    return html`<picture><source media="(prefers-color-scheme: dark) and (max-width: 30rem)" srcset=${url("palette=dark&size=narrow&")}><source
      media="(prefers-color-scheme: dark)" srcset=${url("palette=dark&")}><source media="(max-width: 30rem)" srcset=${url("size=narrow&")}><img
      class="plot" src=${url("")} alt=${what}></picture>`;
  }

  /** The pan seen from above: what each corner showed more than the middle. */
  #corners({ corners }) {
    if (!corners) return "";
    const { centre_g, readings_g } = corners.shown;
    const [fl, fr, br, bl] = readings_g.map((g) => off(g - centre_g)), line = (left, middle, right) => html`<tr><td>${left}</td><td>${middle}</td><td>${right}</td></tr>`;
    return html`<table class="pan"><caption>${words.record.corners}</caption><tbody>${line(bl, "", br)}${line("", amount(centre_g, 2), "")}${line(fl, "", fr)}</tbody></table>`;
  }

  #pictures() {
    const known = this.#known;
    if (!known) return "";
    const path = `/api/calibrations/${known.id}/plots`, { points, repeat } = known.request;
    return html`${this.#picture(`${path}/error`, w.plot_error)}${this.#corners(known.request)}
      ${repeat || points.some((p) => p.readings_g.length > 1) ? this.#picture(`${path}/spread`, w.plot_spread) : ""}
      ${this.#checks.some((c) => c.calibration === known.id) ? this.#picture("/api/scale/plots/checks", w.plot_checks) : ""}`;
  }

  #checked({ check, check_due }) {
    const due = check_due ? html`<p class="note-line">${w.due[check_due]}</p>` : "";
    if (!check) return due;
    return html`${due}<p class=${check.says === "in-order" ? "calm" : "wrong"}>${fill(w.last_check, { date: day(check.made_at), error: off(check.shown.error_g), says: w.says[check.says] })}</p>`;
  }

  /** One step, large: what to do, how far it is, and what is amiss. */
  running({ scale }) {
    const routine = scale.routine;
    if (!routine || routine.wants === "done") return "";
    return html`<section class="step"><h2>${w.head}</h2><p class="ask">${routine.says}</p>
      ${routine.amiss_says ? html`<p class="amiss">${routine.amiss_says}</p>` : ""}
      <p>${fill(w.progress, { n: routine.done + 1, steps: routine.steps })}</p>
      <button type="button" class="plain" @click=${() => this.#do("/api/scale/calibrate", { off: true })}>${w.leave}</button></section>`;
  }

  /** What came of the latest routine. */
  #done({ routine }) {
    if (!routine || routine.wants !== "done") return "";
    if (routine.refused) return html`<p class="wrong">${fill(w.refused, { why: routine.refused })}</p>`;
    if (routine.kind === "check") return html`<p class="said">${fill(w.checked, { says: w.says[routine.verdict] })}</p>`;
    return html`<p class="said">${routine.verdict === "too-coarse" ? w.done_coarse : routine.verdict === "does-not-fit" ? w.done_misfit : w.done}</p>`;
  }

  #go(scale) {
    const unused = this.#unused;
    return html`${unused ? html`<p>${unused.warnings[0]}</p>${this.#hold.button("use", w.use, words.batch.ending, () => this.#do(`/api/calibrations/${unused.id}/use`, {}))}` : ""}
      ${scale.calibration ? this.#hold.button("no-calibration", w.off, words.batch.ending, () => this.#do(`/api/calibrations/${scale.calibration.id}/use`, { off: true })) : ""}`;
  }

  /** How it stands, how it is begun, and what came of it. */
  idle({ scale, batch }) {
    this.#load(scale);
    const parts = () => ({ parts: [...this.#parts], ...(this.#fields.text("who") ? { operator: this.#fields.text("who") } : {}) });
    return html`<section class="calibrate"><h2>${w.head}</h2>${this.#done(scale)}${this.#told(scale)}${this.#checked(scale)}${scale.calibration ? this.#pictures() : ""}
      <p>${batch ? w.batch : w.what}</p><p class="wrong" role="alert">${this.#wrong}</p>
      ${batch ? "" : html`<details ?open=${!scale.calibration}><summary>${w.with}</summary>${this.#masses()}${this.#more()}</details>
        ${this.#hold.button("calibrate", w.begin, words.batch.ending, () => this.#begin("/api/scale/calibrate", parts()))}
        ${this.#hold.button("check", w.check, words.batch.ending, () => this.#begin("/api/scale/check", {}))}${this.#go(scale)}`}
      <p>${w.trade}</p></section>`;
  }
}
