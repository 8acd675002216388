// Above: which site it is, taking back, saving, what works in the background, and what the page itself is set to.

import { h } from "/dom.js";
import { beginAsking, drop } from "/drawing.js";
import { keep, link, openDialog, own, redraw, state } from "/page.js";

export function topBar() {
  const site = state.site;
  const unsaved = site.unsaved ?? [];
  return h("header", { key: "top", class: "top" },
    h("div", { class: "titled" }, h("h1", null, site.name || "terrain3d"),
      h("p", { class: "quiet" }, site.file || "no file yet", unsaved.length ? h("span", { class: "unsaved" }, `${unsaved.length} not saved`) : h("span", null, ", saved"))),
    h("div", { class: "row" },
      h("button", { onclick: () => link.send({ do: "undo" }), disabled: !site.undo, title: site.undo ? `Take back: ${site.undo}` : "Nothing to take back" }, "Take back"),
      h("button", { onclick: () => link.send({ do: "redo" }), disabled: !site.redo, title: site.redo ? `Do again: ${site.redo}` : "Nothing to do again" }, "Do again"),
      h("button", { class: "strong", onclick: save }, "Save"),
      h("button", { onclick: () => openDialog("save-as") }, "Save as\u2026")),
    h("div", { class: "row working" }, working()),
    h("div", { class: "row" },
      h("button", { onclick: () => openDialog("study") }, "Study\u2026"),
      h("button", { onclick: () => openDialog("search") }, "Search\u2026"),
      h("button", { onclick: () => openDialog("hand-over") }, "Hand over\u2026"),
      site.doubts?.length ? h("button", { onclick: () => openDialog("doubts") }, `Doubts (${site.doubts.length})`) : null,
      h("button", { onclick: () => openDialog("page") }, "Page\u2026")));
}

export function save() {
  if (state.site.file) link.send({ do: "save" });
  else openDialog("save-as");
}

function working() {
  const work = state.work ?? (own.opening ? { what: own.opening.step, share: own.opening.share, words: own.opening.step, can_stop: false } : null);
  if (!work) return null;
  const share = Math.round((work.share ?? 0) * 100);
  return [
    h("progress", { max: 100, value: share, "aria-label": work.words || work.what }),
    h("span", { class: "quiet work-words" }, `${work.words || work.what}, ${share} %`),
    work.can_stop ? h("button", { class: "small", onclick: () => link.send({ do: "stop" }) }, "Stop") : null,
  ];
}

/** Over the picture: how it is looked at, and what a click does. */
export function viewBar() {
  const isPlan = state.view === "plan";
  return [
    h("div", { class: "segments", role: "group", "aria-label": "View" },
      h("button", { "aria-pressed": isPlan ? "false" : "true", onclick: () => link.send({ do: "view", view: "3d" }) }, "In 3-D"),
      h("button", { "aria-pressed": isPlan ? "true" : "false", onclick: () => link.send({ do: "view", view: "plan" }) }, "Plan"),
      h("button", { onclick: () => link.send({ do: "view", view: "start" }), title: "The view as at the start" }, "At the start")),
    h("div", { class: "segments", role: "group", "aria-label": "Distance" },
      h("button", { "aria-label": "nearer", title: "nearer", onclick: () => link.send({ do: "nearer", steps: 1 }) }, "+"),
      h("button", { "aria-label": "farther", title: "farther", onclick: () => link.send({ do: "nearer", steps: -1 }) }, "\u2212")),
    h("button", { "aria-pressed": own.mode === "ask" ? "true" : "false", onclick: () => (own.mode === "ask" ? drop() : beginAsking()) }, "Ask why"),
    (state.grounds ?? []).length > 1 ? h("label", { class: "inline" }, h("span", null, "ground"), h("select", { onchange: (/** @type {any} */ event) => link.send({ do: "ground", kind: event.target.value }) },
      state.grounds.map((/** @type {string} */ one) => h("option", { key: one, value: one, selected: one === state.ground }, one)))) : null,
    (state.layers ?? []).length ? h("details", { class: "menu" }, h("summary", null, "Shown"),
      h("div", { class: "menu-box" }, state.layers.map((/** @type {any} */ layer) => h("label", { key: layer.name, class: "way" },
        h("input", { type: "checkbox", checked: layer.is_shown, onchange: (/** @type {any} */ event) => link.send({ do: "layer", name: layer.name, is_shown: event.target.checked }) }),
        h("span", null, layer.label ?? layer.name))))) : null,
  ];
}

/** @param {string} look "auto", "light" or "dark" */
export function setLook(look) {
  own.look = look;
  keep("look", look);
  dressPage();
  redraw();
}

export function dressPage() {
  if (own.look === "auto") delete document.documentElement.dataset.look;
  else document.documentElement.dataset.look = own.look;
}
