// Words and numbers as they are shown. All words come from words.js.
import words from "./words.js";

export { words };

/** Puts values into {places} of a sentence. */
export const fill = (sentence, values) =>
  sentence.replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);

/** So fine as `digits` are in grams, in the unit that is shown; or a dash. Nothing has no sign. */
export const amount = (v, digits) => {
  const text = v?.toFixed(digits + words.units.finer) ?? "–";
  return Number(text) === 0 ? text.replace("-", "") : text;
};

/** A weight as shown: a tenth of a gram is seen in it. */
export const grams = (v) => amount(v, 1);

/** For a glance. */
export const whole = (v) => (v === null || v === undefined ? "–" : amount(Math.max(0, v), 0));

/** With a sign, for what is off target; nothing off has none. */
export const signed = (g) => {
  const text = grams(g);
  return g > 0 && Number(text) ? `+${text}` : text.replace("-", "−");
};

/** Asks the daemon; a refusal becomes an error with its words. */
export async function ask(path, body) {
  // Each object comes with what is shown of it; that is never sent back.
  const headers = { Shown: "yes" }, plain = (key, value) => (key === "shown" ? undefined : value);
  const post = { method: "POST", headers: { ...headers, "Content-Type": "application/json" }, body: JSON.stringify(body, plain) };
  const reply = await fetch(path, body === undefined ? { headers } : post);
  const told = await reply.json();
  if (!reply.ok) throw Object.assign(new Error(told.detail), { field: told.field });
  return told;
}
