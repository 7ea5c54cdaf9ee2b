// A plot as an image: for a light and a dark page, for a wide and a narrow one.
import { html } from "./lit-html.js";

export function picture(path, alt, more = "") {
  const at = (palette, size) => `${path}?palette=${palette}&size=${size}${more}`;
  return html`<picture><source media="(max-width: 40rem) and (prefers-color-scheme: dark)" srcset=${at("dark", "narrow")}>
    <source media="(max-width: 40rem)" srcset=${at("light", "narrow")}>
    <source media="(prefers-color-scheme: dark)" srcset=${at("dark", "wide")}>
    <img class="plot" src=${at("light", "wide")} alt=${alt}></picture>`;
}

const two = (n) => String(n).padStart(2, "0");

/** The day here, as 2026-11-25. */
export const day = (stamp) => {
  const at = new Date(stamp);
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
};

/** The time here, with its day where that is not today. */
export const moment = (stamp) => {
  const at = new Date(stamp), time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  return day(stamp) === day(Date.now()) ? time : `${day(stamp)}, ${time}`;
};
