// What a batch is made from, as the potter types it: bucket, inside, coat, give or take.
// Keeps what is typed and turns it into a request; every gram is reckoned by the daemon.
import { html } from "./lit-html.js";
import { fill, words } from "./say.js";
import { Fields } from "./fields.js";
import { Bucket } from "./bucket.js";
import { Inside } from "./inside.js";
import { Coat } from "./coat.js";
import { Ware } from "./ware.js";
import { told } from "./shelf.js";

const w = words.batch;
const TOLERANCES = { grams: w.tolerance_grams, percent: w.tolerance_percent };
const STARTS = { grams: words.units.tolerance, percent: "5", pieces: "12" };
const BARE = ["bare_least", "bare_greatest"];
const NAMES = ["glaze_name", "pourer", "jug"];
/** What a shelf has: its part of a request, and the name in the lists of shelves. */
const SHELVES = { glaze: "glazes", form: "forms", coat: "coats" };

export class Setup {
  #soon;
  #by = "grams";
  #tolerance = "grams";
  #each = "alike";
  /** Another order for each batch, the same while it is set up. */
  #seed = Math.floor(Math.random() * 1e6);
  #fields;
  #bucket;
  #inside;
  #coat;
  #ware;
  /** What stands on the shelves, and what was taken from there, by shelf. */
  #shelves = { glazes: [], forms: [], coats: [] };
  #taken = { glaze: "", form: "", coat: "" };
  /** Names used before, to choose from. */
  #known = { pourer: [], jug: [], glaze_name: [] };
  /** What each jug of before was; what is chosen for this one; what is usual here. */
  #vessels = {};
  #vessel = null;
  #usual = "jug";
  /** How a pour is finished: as chosen, and as is usual here. */
  #finish = null;
  #usually = "stop";

  constructor(soon, weigh) {
    this.#soon = soon;
    this.#fields = new Fields(soon, STARTS);
    this.#bucket = new Bucket(this.#fields, soon, weigh);
    this.#inside = new Inside(this.#fields, soon);
    this.#coat = new Coat(this.#fields, weigh);
    this.#ware = new Ware(this.#fields, weigh);
  }

  /** A refusal: the field it names, if any, and its words. */
  get wrong() { return this.#fields.wrong; }
  set wrong(wrong) { this.#fields.wrong = wrong; }

  know(batches, shelves) {
    for (const name of NAMES) this.#known[name] = [...new Set(batches.map((b) => b[name]).filter(Boolean))];
    // The newest batch of a jug tells.
    this.#vessels = Object.fromEntries(batches.filter((b) => b.jug && b.vessel).reverse().map((b) => [b.jug, b.vessel]));
    this.#shelves = shelves;
    for (const shelf of Object.keys(SHELVES)) if (!this.#on(shelf)) this.#taken[shelf] = "";
  }

  /** What was taken from this shelf. */
  #on(shelf) {
    return this.#shelves[SHELVES[shelf]].find((thing) => thing.name === this.#taken[shelf])?.what;
  }

  #give() {
    return { [this.#tolerance]: this.#fields.told(this.#tolerance) };
  }

  /** Something was taken from its shelf; a coat brings the tolerance that it was kept with. */
  #take(shelf, name) {
    this.#taken[shelf] = name;
    const own = this.#on(shelf)?.tolerance;
    if (!own) return;
    this.#tolerance = own.percent === undefined ? "grams" : "percent";
    this.#fields.put({ ...own, ...own.shown });
  }

  /** What each piece should get, as it stands. */
  target() {
    const tolerance = this.#give();
    if (this.#by === "grams") return { coat: { by: "direct", slop_g: this.#fields.told("slop_g") }, tolerance, ...this.#plan() };
    // Of a bucket only what is reckoned with.
    const { slop_g: _slop, cup_s: _cup, deflocculant: _thin, sieved: _sieved, ...bucket } = this.#on("glaze") ?? { glaze: this.#bucket.request() };
    const { tolerance: _own, ...coat } = this.#on("coat") ?? { coat: this.#coat.request() };
    return { ...bucket, ...(this.#on("form") ?? { form: this.#inside.request() }), ...coat, ...this.#ware.request(), tolerance, ...this.#plan() };
  }

  /** The whole batch, as it stands. */
  batch() {
    const body = { ...this.target(), name: this.#fields.typed.name ?? "", pieces: this.#pieces() };
    for (const name of NAMES) if (this.#fields.text(name)) body[name] = this.#fields.text(name);
    if (this.#by === "bucket" && this.#taken.glaze) body.glaze_name = this.#taken.glaze;
    const bare = BARE.map((name) => this.#fields.number(name));
    if (bare.some((g) => !Number.isNaN(g))) body.bare_g = BARE.map((name) => this.#fields.told(name, "bare_g"));
    return { ...body, vessel: this.#pouredFrom(), finish: this.#finish ?? this.#usually };
  }

  /** What is to stand on the shelves from now on. */
  kept() {
    if (this.#by === "grams") return [];
    const asked = { form: () => ({ form: this.#inside.request() }), coat: () => ({ coat: this.#coat.request(), tolerance: this.#give() }) };
    return Object.entries(asked)
      .map(([shelf, what]) => ({ shelf, name: this.#taken[shelf] ? "" : this.#fields.text(`keep_${shelf}`), what: what() }))
      .filter((thing) => thing.name);
  }

  /** How many there will be. */
  #pieces() {
    return this.#each === "own" ? this.#fields.number("steps") * (this.#fields.text("of_each") ? this.#fields.number("of_each") : 1) : this.#fields.number("pieces");
  }

  /** Targets from piece to piece, and whether the slop is enough. */
  #plan() {
    const f = this.#fields, plan = {};
    if (this.#each === "own") {
      plan.ladder = { low_g: f.told("low_g"), high_g: f.told("high_g"), steps: f.number("steps"), seed: this.#seed };
      if (f.text("of_each")) plan.ladder.of_each = f.number("of_each");
    }
    if (f.text("at_hand_g")) {
      plan.supply = { pieces: this.#pieces(), slop_g: f.told("at_hand_g") };
      for (const name of ["left_in_jug_g", "loss_g_per_piece"]) if (f.text(name)) plan.supply[name] = f.told(name);
    }
    return plan;
  }

  /** As chosen; else as this jug was before; else as is usual here. */
  #pouredFrom() {
    return this.#vessel ?? this.#vessels[this.#fields.text("jug")] ?? this.#usual;
  }

  /** Whether the refusal stands at a field that is shown. */
  placed(form) {
    return this.#fields.placed(form);
  }

  #named(name, label, hint, typed) {
    const id = `${name}s-known`;
    return html`${this.#fields.field(name, label, { text: true, free: true, list: id, hint, typed })}
      <datalist id=${id}>${this.#known[name].map((n) => html`<option value=${n}></option>`)}</datalist>`;
  }

  /** One of mine, or what is typed here and may be kept. */
  #from(shelf, label, another, typed, more = "") {
    const mine = this.#shelves[SHELVES[shelf]].map((thing) => [thing.name, thing.name]);
    const pick = this.#fields.pick(`mine_${shelf}`, label, [["", another], ...mine].slice(mine.length ? 0 : 1), this.#taken[shelf], (name) => this.#take(shelf, name));
    const thing = this.#shelves[SHELVES[shelf]].find(({ name }) => name === this.#taken[shelf]);
    return html`${pick}${thing ? html`<p class="told">${told(thing)}</p>` : [typed(), more]}`;
  }

  #keep(shelf, label) {
    return this.#fields.field(`keep_${shelf}`, label, { text: true, free: true, hint: w.may_lack });
  }

  #reckoned() {
    return html`${this.#from("glaze", w.mine_glaze, w.another_glaze, () => this.#bucket.show())}
      ${this.#from("form", w.mine_form, w.another_form, () => this.#inside.show(), this.#keep("form", w.keep_form))}
      ${this.#from("coat", w.mine_coat, w.another_coat, () => this.#coat.show(), this.#keep("coat", w.keep_coat))}
      ${this.#fields.folded(fill(w.ware_now, { ware: w.wares[this.#ware.state] }), this.#ware.show())}`;
  }

  #each_of() {
    const f = this.#fields, free = { free: true, hint: w.may_lack };
    const own = () => [f.field("low_g", w.low), f.field("high_g", w.high), f.field("steps", w.steps), f.field("of_each", w.of_each, free)];
    return html`${this.#fields.choice("each", w.each, { alike: w.each_alike, own: w.each_own }, this.#each, (each) => { this.#each = each; })}
      ${this.#each === "own" ? own() : f.field("pieces", w.pieces)}
      ${f.folded(w.supply, [f.field("at_hand_g", w.at_hand, free), f.field("left_in_jug_g", w.left_in_jug, free), f.field("loss_g_per_piece", w.loss, free)])}`;
  }

  /** All fields; `result` stands where the grams are reckoned. */
  fields(result, now) {
    this.#usual = now?.vessel ?? this.#usual;
    this.#usually = now?.finish ?? this.#usually;
    const own = this.#by === "bucket" && this.#taken.glaze;
    return html`${this.#fields.choice("by", w.how, { grams: w.by_grams, bucket: w.by_bucket }, this.#by, (by) => { this.#by = by; })}
      ${this.#by === "grams" ? this.#fields.field("slop_g", w.grams) : this.#reckoned()}
      ${this.#fields.choice("tolerance_by", w.tolerance, { grams: w.in_grams, percent: w.in_percent }, this.#tolerance, (by) => { this.#tolerance = by; })}
      ${this.#fields.field(this.#tolerance, TOLERANCES[this.#tolerance])}
      ${this.#each_of()}
      ${result}
      ${this.#fields.field("name", w.name, { text: true, hint: w.name_hint })}
      ${own ? "" : this.#named("glaze_name", w.glaze_name, w.may_lack)}${this.#named("pourer", w.pourer)}
      ${this.#named("jug", w.jug, undefined, () => { this.#vessel = null; })}
      ${this.#poured()}`;
  }

  /** What is poured from and how it is finished, and what the pieces weigh. */
  #poured() {
    const f = this.#fields, free = { free: true, hint: w.may_lack };
    const from = this.#pouredFrom(), finish = this.#finish ?? this.#usually;
    return f.folded(fill(w.poured, { from: w.vessels[from], finish: w.finished[finish] }), html`
      ${f.choice("vessel", w.vessel, w.vessels, from, (vessel) => { this.#vessel = vessel; })}
      ${f.choice("finish", w.finish, w.finishes, finish, (way) => { this.#finish = way; })}
      ${f.field("bare_least", w.bare_least, free)}${f.field("bare_greatest", w.bare_greatest, free)}${f.note("bare_g")}`);
  }
}
