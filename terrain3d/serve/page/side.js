// At the other side too: why here, what was found, the table of ground that was typed.

import { h } from "/dom.js";
import { fieldsPanel } from "/fields.js";
import { groundFields } from "/ground.js";
import { link, openDialog, own, placeWords, showSide, state } from "/page.js";

const TITLES = { fields: "Set", why: "Why here", found: "Found", ground: "Ground" };

export function sidePanel() {
  const there = ["fields", ...(state.why ? ["why"] : []), ...(state.found ? ["found"] : []), ...(state.ground_table ? ["ground"] : [])];
  const panels = { fields: fieldsPanel, why: whyPanel, found: foundPanel, ground: groundFields };
  const open = /** @type {keyof typeof panels} */ (there.includes(own.side) ? own.side : "fields");
  return [
    there.length > 1 ? h("div", { key: "tabs", class: "tabs", role: "tablist", "aria-label": "Beside the picture" }, there.map((name) => h("button", {
      key: name, role: "tab", id: `tab-${name}`, "aria-selected": name === open ? "true" : "false", "aria-controls": "side-panel",
      onclick: () => showSide(name),
    }, /** @type {any} */ (TITLES)[name]))) : null,
    h("div", { key: `panel ${open}`, class: "scroll side-panel", tabindex: 0, id: "side-panel", role: there.length > 1 ? "tabpanel" : "region", "aria-label": /** @type {any} */ (TITLES)[open] }, panels[open]()),
  ];
}

function whyPanel() {
  const why = state.why;
  const [x, y] = why.at;
  const held = why.would_hold;
  return [
    h("h2", null, "Why here"),
    h("p", { class: "quiet" }, `${placeWords(why.at)} of the middle of the site`),
    h("div", { class: "why-lines" }, why.lines.map((/** @type {string} */ line) => h("p", null, line))),
    why.section ? h("button", { class: "picture-button", "aria-label": "Section to this place: larger", onclick: () => openDialog("why") }, h("img", { src: why.section, alt: "" })) : null,
    held?.length === 0 ? null : h("h3", null, "What would hold this?"),
    held ? h("ul", { class: "changes" }, held.map((/** @type {any} */ one) => h("li", null, h("p", null, one.words),
      one.change ? h("button", { onclick: () => link.send({ do: "take", change: one.change }) }, "Set it so") : null)))
      : h("button", { onclick: () => link.send({ do: "would_hold", x, y }) }, "Look for it"),
  ];
}

function foundPanel() {
  const found = state.found;
  return [
    h("h2", null, found.title),
    h("ul", { class: "changes" }, found.rows.map((/** @type {any} */ row, /** @type {number} */ k) => h("li", { key: k }, h("p", null, row.words),
      row.do ? h("button", { onclick: () => link.send(row.do) }, "Take it") : null))),
  ];
}
