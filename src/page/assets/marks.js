// A small mark for each piece: a cup in section. Full to the rim is good, half empty is short,
// a run over the rim is over, an empty struck-out cup is not counted. Read by shape, not by colour.
import { html, svg } from "./lit-html.js";
import { fill, words } from "./say.js";

const CUP = "M4 3 L6 25 Q6 28 9 28 L19 28 Q22 28 22 25 L24 3";
const INSIDE = {
  good: svg`<path class="slop" d="M5.5 6 L7.3 25 Q7.5 26.5 9 26.5 L19 26.5 Q20.5 26.5 20.7 25 L22.5 6 Z"/>`,
  short: svg`<path class="slop" d="M6.6 18 L7.3 25 Q7.5 26.5 9 26.5 L19 26.5 Q20.5 26.5 20.7 25 L21.4 18 Z"/>`,
  over: svg`<path class="slop" d="M5.5 6 L7.3 25 Q7.5 26.5 9 26.5 L19 26.5 Q20.5 26.5 20.7 25 L22.5 6 Z"/>
    <path class="run" d="M4 4.5 Q14 -9 24 4.5 Z"/><path class="run" d="M29 9 q4 7 0 9 q-4 -2 0 -9 Z"/>`,
  void: svg`<path class="strike" d="M2 30 L27 0"/>`,
};

export const mark = (verdict) => html`<svg class="mark" viewBox="0 -2 32 32" aria-hidden="true">
  <path class="cup" d=${CUP}/>${INSIDE[verdict] ?? ""}</svg>`;

/** What is to be known of a record besides its numbers, in plain words. */
export const marked = (pour) => pour.marks.map((mark) => words.record_marks[mark] ?? mark);

/** The newest pieces, newest first: where there is no room the old ones go. */
export const marks = (pours) => html`<ul class="marks" aria-label=${words.marks_label}>
  ${pours.slice(-12).reverse().map((p) => html`<li>${mark(p.verdict)}<span aria-hidden="true">${p.piece}</span>
    <span class="unseen">${fill(words.mark, { piece: p.piece, verdict: words.verdicts[p.verdict] })}</span></li>`)}
</ul>`;
