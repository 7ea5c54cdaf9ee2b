// Words and numbers as they are shown. All words come from words.js.
import words from "./words.js";

export { words };

/** Puts values into {places} of a sentence. */
export const fill = (sentence, values) =>
  sentence.replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);

/** Grams with one digit behind the point, or a dash. */
export const grams = (g) => (g === null || g === undefined ? "–" : Math.abs(g) < 0.05 ? "0.0" : g.toFixed(1));

/** Whole grams for a glance. */
export const whole = (g) => (g === null || g === undefined ? "–" : String(Math.max(0, Math.round(g))));

/** With a sign, for what is off target; nothing off has none. */
export const signed = (g) => {
  const text = grams(g);
  return g > 0 && text !== "0.0" ? `+${text}` : text.replace("-", "−");
};

/** Asks the daemon; a refusal becomes an error with its words. */
export async function ask(path, body) {
  const post = { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const reply = await fetch(path, body === undefined ? {} : post);
  const told = await reply.json();
  if (!reply.ok) throw Object.assign(new Error(told.detail), { field: told.field });
  return told;
}
