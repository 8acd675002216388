// Below: the ranking of the options, what the numbers say, and the pictures beside them.

import { h } from "/dom.js";
import { link, openDialog, state } from "/page.js";
import { signed } from "/signs.js";

export function numbersPanel() {
  return [
    h("section", { key: "ranking", class: "ranking scroll", tabindex: 0, "aria-label": "Options, best first" }, ranking()),
    h("section", { key: "blocks", class: "blocks scroll", tabindex: 0, "aria-label": "Numbers" }, h("div", { class: "columns" }, blocks())),
    state.section || state.outlook
      ? h("section", { key: "pictures", class: "pictures", "aria-label": "Section and outlook" },
        pictured("section", "Section along its facing", state.section), pictured("outlook", "What the unit sees", state.outlook))
      : null,
  ];
}

function ranking() {
  const options = state.options;
  return [
    h("div", { class: "headed" }, h("h2", null, "Options, best first"),
      h("button", { class: "small", onclick: () => link.send({ do: "add_option", name: null, copy_of: null }), title: "an option without units" }, "New")),
    options.length ? h("ol", { class: "options" }, options.map(oneOption)) : h("p", { class: "quiet" }, "None yet: put a unit on a mount."),
  ];
}

/** @param {any} option @param {number} at */
function oneOption(option, at) {
  const share = option.held_share === null || option.held_share === undefined ? null : Math.round(option.held_share * 100);
  const isLeft = state.side?.[0] === option.name && state.side.length > 1;
  return h("li", { key: option.name, class: option.is_shown ? "option shown" : "option" },
    h("button", { class: "option-name", "aria-pressed": option.is_shown ? "true" : "false", onclick: () => link.send({ do: "show_option", name: option.name }) },
      h("span", { class: "place" }, `${at + 1}`), h("span", { class: "name" }, option.name),
      h("span", { class: "share" }, share === null ? "" : `${share} %`)),
    h("button", {
      class: "small", "aria-pressed": isLeft ? "true" : "false", "aria-label": `compare with ${option.name}`, disabled: option.is_shown && !isLeft,
      onclick: () => link.send({ do: "compare", name: isLeft ? null : option.name }),
    }, "Compare"),
    h("button", { class: "small", "aria-label": `more for ${option.name}`, onclick: () => openDialog(`option ${option.name}`) }, "\u2026"),
    share === null ? null : h("span", { class: "bar", "aria-hidden": "true" }, h("span", { style: { width: `${share}%` } })),
    option.is_void ? h("span", { class: "void" }, option.words) : null,
    option.is_shown && !option.is_void ? h("span", { class: "words" }, option.words, option.worst ? ` Worst: ${option.worst}.` : "") : null);
}

/** The column of the window, in as many columns as there is room for. */
function blocks() {
  /** @type {any[][]} */
  const sections = [];
  for (const block of state.blocks ?? []) {
    if (block.kind === "heading" || !sections.length) sections.push([]);
    sections[sections.length - 1].push(block);
  }
  return sections.map((section, k) => h("div", { key: k, class: "block" }, section.map(oneBlock)));
}

/** @param {any} block */
export function oneBlock(block) {
  if (block.kind === "heading") return h("h3", null, block.text, figures(block.figures));
  if (block.kind === "bar") {
    return h("div", { class: "bar", "aria-hidden": "true" }, h("span", { style: { width: `${Math.round(block.fraction * 100)}%`, background: block.colour } }));
  }
  if (block.kind === "gap") return null;
  const look = ["line", block.is_bold ? "bold" : "", block.is_quiet ? "quiet" : "", block.is_inset ? "inset" : ""].join(" ").trim();
  if (block.kind === "paragraph") return h("p", { class: look }, block.text);
  return h("div", { class: look }, signed(block.sign), h("span", { class: "text" }, block.text), figures(block.figures));
}

/** @param {string[] | undefined} list */
function figures(list) {
  return list?.length ? list.map((figure, k) => h("span", { key: k, class: "figure" }, figure)) : null;
}

/** @param {string} name @param {string} title @param {string | null} url */
function pictured(name, title, url) {
  if (!url) return null;
  return h("button", { key: name, class: "picture-button", onclick: () => openDialog(name), "aria-label": `${title}: larger` }, h("img", { src: url, alt: "" }), h("span", null, title));
}

/** What the colours and lines in the picture are. */
export function keyStrip() {
  return (state.key ?? []).map((/** @type {any} */ one) => h("li", { key: one.label }, signed(one.sign), h("span", null, one.label)));
}
