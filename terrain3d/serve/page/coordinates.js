// In what places are read and typed: metres from the middle of the site, or the coordinates of the site file.

import { h } from "/dom.js";
import { keep, own, redraw, state } from "/page.js";

/**
 * The coordinates of the site file, where places are told in them.
 * @returns {{axes: [string, string], unit: string, digits: number, words: string} | null}
 */
export const ofFile = () => (own.coordinates === "file" && state.site.coordinates.axes ? state.site.coordinates : null);

/** A place in the coordinates of the site file, in words. @param {number[]} at */
export const ofFileWords = (at) => {
  const { axes, unit, digits } = state.site.coordinates;
  return axes.map((/** @type {string} */ axis, /** @type {number} */ k) => `${axis} ${at[k].toFixed(digits)} ${unit}`).join(", ");
};

/** The choice between the two, and what those of the site file are. */
export function coordinatesChoice() {
  const { axes, words } = state.site.coordinates;
  const choices = [["middle", "from the middle"], ["file", "site file"]];
  return h("div", { key: "coordinates", class: "coordinates" },
    axes ? h("div", { class: "segments", role: "group", "aria-label": "Coordinates" }, choices.map(([id, word]) => h("button", {
      key: id, "aria-pressed": own.coordinates === id ? "true" : "false",
      onclick: () => { own.coordinates = id; keep("coordinates", id); redraw(); },
    }, word))) : null,
    h("p", { class: "quiet" }, words));
}
