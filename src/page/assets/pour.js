// The place that is glanced at from afar: one word or number, and the piece with its coat.
import { html } from "./lit-html.js";
import { ask, fill, grams, whole, words } from "./say.js";
import { heard } from "./face.js";
import { marks } from "./marks.js";
import { section } from "./section.js";

const line = (kind, text) => (text ? html`<p class=${kind}>${text}</p>` : "");
const number = (text, unit) =>
  html`<p class="number" data-long=${text.length > 4 ? "very" : text.length > 3 || text.includes(".") ? "yes" : "no"}>${text}<span class="unit">${unit}</span></p>`;

/** More may be poured than was planned. */
const done = ({ live: { now } }) => now.foreseen !== null && now.nth > now.foreseen;

/** Its place in the batch; its number too, where that goes on from batch to batch. */
function place(state) {
  const { nth, foreseen: pieces, piece } = state.live.now;
  if (pieces === null) return "";
  const [plain, numbered] = done(state) ? [words.place_more, words.place_more_numbered] : [words.place, words.place_numbered];
  return fill(nth === piece ? plain : numbered, { nth, pieces, piece });
}

/** What the jug holds, short enough for a glance; all of it stands in place Batch. */
const jug = (told) => (told
  ? fill(told.agrees === false ? words.jug_look : words.jug_holds, { grams: whole(told.shown.left_g), n: told.enough_for })
  : words.notes.jug);

/** What is worth knowing between two pieces: a quiet line. */
function note({ face, live: { now } }) {
  // Of another ware only while it stands there: afterwards the record's mark says it.
  // What is said large already is not said again.
  const past = now.note === "other-ware" ? face.name !== "ready" : now.note === "full" ? now.pan_g === null
    : now.note === "wipe" && now.pan_g !== null;
  const said = past ? null : now.note;
  return said ? line("more note", said === "jug" ? jug(now.jug) : words.notes[said]) : "";
}

/** The next step while nothing stands on the scale. */
const next = (state) => (state.batch && done(state)
  ? fill(words.do.last_done, { pieces: state.batch.pieces })
  : fill(words.do.next, { piece: state.live.now.piece }));

const limits = (now) =>
  fill(words.target_line, { target: grams(now.shown.target_g), low: grams(now.shown.low_g), high: grams(now.shown.high_g) });

/** What is left on the bare pan goes first: it would hang on the next foot. */
const wipe = ({ live: { now } }) => (now.pan_g === null ? "" : line("do wipe", fill(words.do.wipe, { grams: grams(now.shown.pan_g) })));

/** Without a loudspeaker only this place tells when to stop. */
const mute = ({ live: { now, connected } }) => (connected && now && !heard(now) ? line("mute", words.mute) : "");

/** What to do about a weighed piece. While it stands there more can be added. */
function advice({ face: { name, on }, live: { now } }) {
  if (name === "good" || name === "void") return words.do[name];
  const add = name === "short" && on && now.left_g > 0;
  return add ? fill(words.do.add, { grams: grams(now.shown.left_g) }) : words.do.leave;
}

function weighed(state) {
  const { face: { name, pour, on } } = state;
  // Of a full batch it is told only where nothing else is to be said: there is no room for both.
  const { pan_g, note: about } = state.live.now;
  const room = !done(state) || (pan_g === null && (about === null || about === "full"));
  const told = [
    fill(words.net_line, { piece: pour.piece }),
    !pour.settled && words.log.lifted,
    on && name === "short" && pour.marks.includes("put-back") && words.do.put_back,
    !on && room && place(state) && fill(words.next_place, { place: place(state) }),
  ];
  return html`${number(grams(pour.shown.net_g), words.gram)}
    ${line("word", words.faces[name])}
    ${on ? line("do", advice(state)) : wipe(state) || line("do", next(state))}
    ${on ? "" : note(state)}
    ${line("more", told.filter(Boolean).join(" · "))}`;
}

/** A display that went to zero by itself hides a piece: whoever sees that it still stands there may say so. */
function stillOn({ live: { connected, now } }) {
  if (!connected || !now || now.offered_g === null) return "";
  // A refusal means that it was settled meanwhile: the next snapshot shows how.
  const say = () => ask(`/api/batches/${now.batch}/still-on`, {}).catch(() => {});
  return html`${line("more", words.do.still_on_how)}
    <p><button type="button" @click=${say}>${fill(words.do.still_on, { grams: grams(now.shown.offered_g) })}</button></p>`;
}

const SAY = {
  empty: ({ live: { now }, begun }) => begun.list.length ? html`${begun.button()}
    ${line("more", `${words.do.unended} ${fill(words.on_scale, { grams: grams(now.scale.shown.mass_g) })}`)}
    <p><a class="other" href="#batch">${words.do.other_button}</a></p>` : html`${number(grams(now.scale.shown.mass_g), words.gram)}
    ${line("more", words.do.empty)}<p><a class="button" href="#batch">${words.do.empty_button}</a></p>`,
  next: (state) => html`${line("word", `${words.faces.next}: ${state.live.now.piece}`)}
    ${wipe(state) || line("do", next(state))}${mute(state)}
    ${wipe(state) ? line("more", words.do.wipe_how) : ""}${note(state)}
    ${line("more", limits(state.live.now))}${line("more", place(state))}
    ${line("more", state.live.now.scale.trouble)}`,
  landing: (state) => html`${line("word", words.faces.landing)}${line("do", words.do.landing)}${mute(state)}
    ${line("more", state.live.now.scale.trouble)}`,
  ready: (state) => html`${line("word", words.faces.ready)}
    ${line("do", fill(words.do.ready, { piece: state.live.now.piece, target: grams(state.live.now.shown.target_g) }))}${mute(state)}${note(state)}
    ${line("more", state.live.now.scale.trouble)}`,
  pouring: ({ live: { now } }) => html`${number(whole(now.shown.left_g), "")}${line("do", words.do.pouring)}`,
  lift: () => html`${line("word", words.faces.lift)}${line("do", words.do.lift)}`,
  stop: () => html`${line("word", words.faces.stop)}${line("do", words.do.stop)}`,
  trickle: ({ live: { now } }) => html`${line("word", words.faces.trickle)}
    ${line("do", fill(words.do.trickle, { grams: grams(now.shown.left_g) }))}`,
  good: weighed,
  short: weighed,
  over: weighed,
  void: weighed,
  trouble: (state) => html`${line("word", words.faces.trouble)}${line("do", state.face.wrong)}${mute(state)}
    ${line("more", state.live.connected ? state.live.now?.scale.trouble : "")}${stillOn(state)}`,
};

/** Glaze in the picture: what is there, as far as it is known; what is old is not shown. */
function glaze({ face: { name, pour }, live }) {
  if (pour) return pour.net_g;
  const known = live.fresh() && ["pouring", "lift", "stop", "trickle", "trouble"].includes(name);
  return known ? live.now.net_g : 0;
}

/** What is left of the slop, where the batch tells of it. */
export function slop(supply) {
  if (!supply) return "";
  const { enough_for, runs_out_at, shown: { left_g } } = supply;
  return runs_out_at === null ? fill(words.bucket.left, { grams: whole(left_g), n: enough_for })
    : fill(words.bucket.runs_out, { grams: whole(left_g), n: runs_out_at });
}

/** How long ago the bucket was measured; `old`: it is to be measured again. */
export function bucket(age_s, old) {
  if (age_s === null) return words.bucket.by_hand;
  const { just_now, minutes, hours, days, measured, again } = words.bucket;
  if (age_s < 60) return just_now;
  const h = Math.floor(age_s / 3600);
  const age = h < 1 ? fill(minutes, { n: Math.floor(age_s / 60) }) : h < 48 ? fill(hours, { n: h }) : fill(days, { n: Math.floor(h / 24) });
  return fill(old ? again : measured, { age });
}

function facts({ batch, live: { now, connected } }) {
  const sound = now?.sound;
  const list = [
    batch && (batch.pourer ? fill(words.pours_by, { who: batch.pourer }) : words.pours_nobody),
    sound && (sound.state === "on" ? fill(words.sound_by, { device: sound.device ?? words.sound_some })
      : heard(now) ? words.sound_clients : words.sound_none),
    connected && now ? words.scale_states[now.scale.state] : words.no_connection,
    batch && now && bucket(now.bucket_age_s, now.bucket_old),
    batch && now && slop(now.supply),
  ];
  return html`<ul class="facts">${list.filter(Boolean).map((fact) => html`<li>${fact}</li>`)}</ul>`;
}

/** The whole place. */
export function pour(state) {
  const { batch, face, live: { now }, pours } = state;
  return html`<div class="field"><div class="stage">
    <header><h1>${batch?.name ?? words.no_batch_name}</h1>${facts(state)}</header>
    <div class="piece">${section(batch?.form, glaze(state), now?.low_g, now?.high_g)}</div>
    <div class="say">${SAY[face.name](state)}</div>
    ${pours.length ? marks(pours) : ""}
  </div></div>`;
}
