// The page: six places, one live stream. Shows what the daemon says; reckons nothing.
import { html, nothing, render } from "/assets/lit-html.js";
import { Live } from "/assets/live.js";
import { BUSY, face } from "/assets/face.js";
import { ask, fill, words } from "/assets/say.js";
import { pour } from "/assets/pour.js";
import { Begun } from "/assets/begun.js";
import { BatchPlace } from "/assets/batch.js";
import { GlazePlace } from "/assets/glaze.js";
import { LogPlace } from "/assets/log.js";
import { ReviewPlace } from "/assets/review.js";
import { ScalePlace } from "/assets/scale.js";
import { spoken } from "/assets/late.js";
import { spokenOf } from "/assets/calibrate.js";
import { told as weighs } from "/assets/weigh.js";

const PLACES = ["pour", "batch", "glaze", "scale", "log", "review"];
const root = document.documentElement;
const at = (id) => document.getElementById(id);

/** All that is shown is made from this. */
const state = { place: "pour", face: { name: "trouble", wrong: words.no_connection }, batch: null, pours: [], live: null, begun: null };
let asked = false, loading = null, dirty = false, noted = null, led = "";

function soon() {
  if (asked) return;
  asked = true;
  let due = true;
  const paint = () => {
    if (!due) return;
    due = asked = false;
    show();
  };
  // A hidden tab paints nothing but must still speak; one that is hidden before its frame comes waits for none.
  if (!document.hidden) requestAnimationFrame(paint);
  setTimeout(paint, document.hidden ? 50 : 200);
}

function keep(pour) {
  if (pour.batch !== state.batch?.id || pour.rev < 1) return;
  state.pours = [...state.pours.filter((p) => p.id !== pour.id), pour].sort((a, b) => a.started_at.localeCompare(b.started_at));
  soon();
}

/** The batch under way: its name, form and pours, once for each batch. */
async function load(id) {
  loading = id;
  try {
    const [batch, pours] = await Promise.all([ask(`/api/batches/${id}`), ask(`/api/batches/${id}/pours`)]);
    if (loading !== id) return;
    state.batch = batch;
    state.pours = [];
    pours.forEach(keep);
    soon();
  } catch {
    setTimeout(() => { if (loading === id) loading = null; soon(); }, 500);
  }
}

function follow(now) {
  if (!now) return;
  if (!now.batch) {
    loading = null;
    state.batch = null;
    state.pours = [];
  } else if (now.batch !== loading) {
    load(now.batch);
  }
}

/** Verdicts and trouble are spoken, grams are not. */
function speak(before, after, pour) {
  const was = dirty, told = noted, before_led = led;
  led = spoken(state.live.now?.scale.lag_test) || spokenOf(state.live.now?.scale.routine) || weighs(state.live.now?.scale.weighed);
  noted = state.live.now?.note ?? null;
  dirty = (state.live.now?.pan_g ?? null) !== null;
  if (before.name === "trouble" && after.name !== "trouble") at("warned").textContent = "";
  if (after.name === "trouble" && before.wrong !== after.wrong) {
    at("warned").textContent = fill(words.spoken.trouble, { what: after.wrong });
  } else if (after.pour && (before.name !== after.name || before.pour?.id !== after.pour.id)) {
    at("told").textContent = fill(words.spoken.verdict, { piece: pour.piece, verdict: words.verdicts[pour.verdict] });
  } else if (noted && noted !== told && !(noted === "wipe" && dirty)) {
    at("told").textContent = words.notes[noted];
  } else if (dirty && !was) {
    at("told").textContent = words.spoken.wipe;
  } else if (led && led !== before_led) {
    at("told").textContent = led;
  } else if (after.name === "ready" && before.name !== "ready") {
    at("told").textContent = words.spoken.ready;
  } else if (before.name === "trouble" && after.name !== "trouble") {
    at("told").textContent = words.spoken.clear;
  }
}

const tab = (place, locked) => html`<a href="#${place}" aria-current=${place === state.place ? "page" : nothing}
  tabindex=${locked ? "-1" : nothing}>${words.places[place]}</a>`;

function place() {
  switch (state.place) {
    case "batch": return batchPlace.show(state);
    case "glaze": return glazePlace.show(state);
    case "scale": return scalePlace.show(state);
    case "log": return logPlace.show(state);
    case "review": return reviewPlace.show(state);
    default: return pour(state);
  }
}

function show() {
  follow(state.live.now);
  state.begun.follow(state.live);
  const before = state.face;
  const known = state.batch && state.live.now?.batch === state.batch.id;
  state.face = face(state.live, known ? state.pours : []);
  const { name } = state.face;
  speak(before, state.face, state.face.pour);
  // The hands are full: the picture comes by itself, and stays.
  const called = (name === "ready" && before.name !== "ready") || BUSY.has(name) || (name === "trouble" && BUSY.has(before.name));
  if (called && state.place !== "pour") go("pour");
  const locked = BUSY.has(name);
  root.dataset.face = state.place === "pour" ? name : "none";
  root.dataset.place = state.place;
  root.dataset.trouble = name === "trouble" ? "yes" : "no";
  render(html`${state.place !== "pour" && name === "trouble" ? html`<aside class="alarm" aria-label=${words.faces.trouble}>${words.faces.trouble}: ${state.face.wrong}</aside>` : ""}
    <main>${place()}</main>
    <nav aria-label=${words.places_label} ?inert=${locked}>${PLACES.map((p) => tab(p, locked))}</nav>`, at("page"));
}

function go(to) {
  state.place = to;
  document.querySelector("main")?.scrollTo(0, 0);
  if (location.hash !== `#${to}`) history.replaceState(null, "", `#${to}`);
  if (to === "log") logPlace.open(state);
  if (to === "review") reviewPlace.open(state);
  if (to === "batch") batchPlace.open();
  if (to === "glaze") glazePlace.open();
}

function turn() {
  const to = location.hash.slice(1);
  go(PLACES.includes(to) ? to : "pour");
  soon();
}

/** Keeps the screen on where the browser can; without it the potter sets the screen's own timer. */
async function stayAwake() {
  if (document.hidden || !navigator.wakeLock) return;
  try { await navigator.wakeLock.request("screen"); } catch { /* refused: the screen may go dark, nothing else */ }
}

state.begun = new Begun(soon);
const batchPlace = new BatchPlace(soon, state.begun);
// A batch whose bucket has changed is asked for again.
const glazePlace = new GlazePlace(soon, () => { loading = null; });
const logPlace = new LogPlace(soon);
const reviewPlace = new ReviewPlace(soon);
const scalePlace = new ScalePlace(soon);
state.live = new Live(soon, keep);
addEventListener("hashchange", turn);
document.addEventListener("visibilitychange", stayAwake);
stayAwake();
turn();
// Trouble must show when nothing comes any more.
setInterval(soon, 100);
