// What is asked or shown over the page, one at a time.

import { h } from "/dom.js";
import { link, openDialog, own, redraw, say, state } from "/page.js";
import { setLook } from "/top.js";

export function shut() {
  own.dialog = null;
  sheets = null; // the folder is looked at again when it matters again
  looks += 1;
  redraw();
}

const KEYS = [
  ["In the picture, once it is chosen with Tab or a click", ""],
  ["\u2190 \u2192 \u2191 \u2193", "turn; in plan move"],
  ["Ctrl and an arrow", "move"],
  ["Page Up, Page Down", "nearer, farther"],
  ["While drawing or asking", ""],
  ["\u2190 \u2192 \u2191 \u2193", "move the cross; with Shift by a pixel"],
  ["Space", "place there, or ask there"],
  ["Enter", "end what is drawn"],
  ["Backspace", "last place back"],
  ["Esc", "drop it"],
  ["Anywhere", ""],
  ["Ctrl Z, Ctrl Shift Z", "take back, do again"],
  ["Ctrl S", "save"],
  ["With the mouse", ""],
  ["drag", "turn; in plan move"],
  ["drag with Shift, or the right button", "move"],
  ["wheel", "nearer, farther"],
  ["With fingers", ""],
  ["one", "turn; a tap chooses, places or asks"],
  ["two", "nearer, farther, move"],
];

/** The dialog that is open, if any: its title and what stands in it. @returns {any} */
export function dialog() {
  const name = own.dialog;
  if (state?.site?.is_stale) return framed("stale", staleTitle(), stale(), false);
  if (!name || !state?.site) return null;
  if (name.startsWith("option ")) return framed(name, `Option \u201c${name.slice(7)}\u201d`, optionForm(name.slice(7)));
  const made = {
    "save-as": () => ["Save as", saveAs()],
    study: () => ["Study the options", studyForm()],
    search: () => ["Search for the best units", searchForm()],
    "hand-over": () => ["Hand over", handOver()],
    doubts: () => ["What the survey is doubted for", h("ul", null, state.site.doubts.map((/** @type {string} */ doubt) => h("li", null, doubt)))],
    page: () => ["This page", pageForm()],
    keys: () => ["Keys, mouse and fingers", keys()],
    leave: () => ["Leave this site", leaving()],
    section: () => ["Section along its facing", large(state.section, "Section along its facing")],
    outlook: () => ["What the unit sees", large(state.outlook, "What the unit sees")],
    why: () => ["Section to this place", large(state.why?.section, "Section to this place")],
  };
  const found = /** @type {any} */ (made)[name];
  if (!found) return null;
  const [title, inside] = found();
  return framed(name, title, inside);
}

/** @param {string} name @param {string} title @param {any} inside @param {boolean} [canShut] */
function framed(name, title, inside, canShut = true) {
  return h("dialog", { key: name, class: ["section", "outlook", "why"].includes(name) ? "wide" : "", "aria-labelledby": "dialog-title", oncancel: (/** @type {Event} */ event) => { event.preventDefault(); if (canShut) shut(); } },
    h("div", { class: "headed" }, h("h2", { id: "dialog-title" }, title), canShut ? h("button", { class: "small", onclick: shut, "aria-label": "Close" }, "\u00d7") : null),
    inside,
    own.said.is_refusal ? h("p", { class: "said refused" }, own.said.text) : null);
}

/** @param {string} url @param {string} alt */
const large = (url, alt) => (url ? h("img", { class: "large", src: url.replace("?", "-large?"), alt }) : h("p", null, "It is not there any more."));

function staleTitle() {
  if (state.site.changed_survey) return "The survey was changed on disk";
  return state.site.changed_layers ? "What other files draw was changed on disk" : "The site file was changed by someone else";
}

function stale() {
  const { changed_survey, changed_layers } = state.site;
  if (changed_survey || changed_layers) {
    return [
      h("p", null, `${[changed_survey, changed_layers].filter(Boolean).join(", ")}: not as it was when it was read here. What should hold?`),
      changed_layers ? h("p", { class: "quiet" }, "What a file draws is read again in any case when you next draw or move something here.") : null,
      h("div", { class: "row wrap" },
        h("button", { class: "strong", onclick: () => link.send({ do: "reread" }) }, "Read it anew: what is drawn here stays"),
        h("button", { onclick: () => link.send({ do: "keep_mine" }) }, "Go on with what was read"),
      ),
    ];
  }
  return [
    h("p", null, `${state.site.file} is not as it was when it was read here. What should hold?`),
    h("div", { class: "row wrap" },
      h("button", { class: "strong", onclick: () => link.send({ do: "reread" }) }, "Read it anew, and drop what is not saved here"),
      h("button", { onclick: () => link.send({ do: "keep_mine" }) }, "Keep what is here: Save then writes over it"),
    ),
    form("Save what is here as another file", "file", nextName(), (file) => link.send({ do: "save_as", file })),
  ];
}

const nextName = () => (state.site.file || "site.toml").replace(/(\.toml)?$/, "-2.toml");

/** @param {string} label @param {string} name @param {string} value @param {(value: string) => void} take @param {string} [word] */
function form(label, name, value, take, word = "Save as") {
  return h("form", { class: "row end", onsubmit: (/** @type {SubmitEvent} */ event) => {
    event.preventDefault();
    const input = /** @type {HTMLInputElement} */ (/** @type {HTMLFormElement} */ (event.target).elements.namedItem(name));
    const given = input.value.trim();
    if (!given) say(`${label}: it is empty`, true);
    else take(given);
  } }, h("label", { class: "field wide" }, h("span", { class: "field-name" }, label), h("input", { name, type: "text", maxlength: 200, autocomplete: "off", begins: value })), h("button", { class: "strong" }, word));
}

function saveAs() {
  const file = state.site.file || `${(state.site.name || "site").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "site"}.toml`;
  return [
    h("p", { class: "quiet" }, "A file of the folder that this was started in. A file that is there is never written over by Save as."),
    form("file", "file", file, (name) => { link.send({ do: "save_as", file: name.endsWith(".toml") ? name : `${name}.toml` }); shut(); }),
  ];
}

/** @type {Set<string> | null} */
let parts = null;

function studyForm() {
  const all = state.parts ?? [];
  const taken = parts ?? new Set(all.map((/** @type {any} */ part) => part.name));
  const change = (/** @type {string} */ name, /** @type {boolean} */ is_in) => {
    parts = new Set(taken);
    if (is_in) parts.add(name);
    else parts.delete(name);
    redraw();
  };
  return [
    h("p", { class: "quiet" }, "It runs in the background, and can be stopped. What it finds is laid on the ground and listed."),
    h("fieldset", { class: "checks" }, h("legend", null, "Parts"), all.map((/** @type {any} */ part) => h("label", { key: part.name, class: "way" },
      h("input", { type: "checkbox", checked: taken.has(part.name), onchange: (/** @type {any} */ event) => change(part.name, event.target.checked) }), h("span", null, part.name.replace("-", " ")), h("span", { class: "quiet" }, part.words ?? "")))),
    h("div", { class: "row end" }, h("button", { class: "strong", disabled: !taken.size || !!state.work, onclick: () => { link.send({ do: "study", parts: all.map((/** @type {any} */ p) => p.name).filter((/** @type {string} */ p) => taken.has(p)) }); shut(); } }, "Study")),
  ];
}

function searchForm() {
  return [
    h("p", { class: "quiet" }, "Every mount, height, type, bearing, tilt and range is judged, in the background; it can be stopped."),
    h("form", { onsubmit: (/** @type {SubmitEvent} */ event) => {
      event.preventDefault();
      const elements = /** @type {HTMLFormElement} */ (event.target).elements;
      const at = (/** @type {string} */ name) => /** @type {HTMLInputElement} */ (elements.namedItem(name));
      const units = Number(at("units").value);
      if (!Number.isInteger(units) || units < 1 || units > 50) return say("units: 1 to 50", true);
      const budget = at("budget").value.trim();
      if (budget && !(Number(budget) > 0)) return say("budget: a number above 0, or nothing", true);
      link.send({ do: "search", units, ...(budget ? { budget: Number(budget) } : {}), masks: at("masks").checked });
      shut();
    } },
      h("label", { class: "field wide" }, h("span", { class: "field-name" }, "most units of a set"), h("input", { name: "units", type: "text", inputmode: "numeric", begins: "1", autocomplete: "off" })),
      h("label", { class: "field wide" }, h("span", { class: "field-name" }, "budget, in the money of the types' prices; none is no limit"), h("input", { name: "budget", type: "text", inputmode: "decimal", autocomplete: "off" })),
      h("label", { class: "way" }, h("input", { name: "masks", type: "checkbox" }), h("span", null, "mask zones that reach ground to keep out of")),
      h("div", { class: "row end" }, h("button", { class: "strong", disabled: !!state.work }, "Search"))),
    h("h3", null, "No mount in mind?"),
    h("div", { class: "row" }, h("span", { class: "quiet grow" }, "Poles and walls are proposed where a unit could hold the protected ground."),
      h("button", { disabled: !!state.work, onclick: () => { link.send({ do: "propose_mounts" }); shut(); } }, "Propose mounts")),
  ];
}

/** Today, as a person here has it: 2026-05-03. */
const today = () => new Date().toLocaleDateString("sv");
/** The day that was given; today where none was. */
let day = "";
/** Sheets of walk tests in the folder, and the one to be read; null before they were looked for. @type {string[] | null} */
let sheets = null;
let sheet = "";
/** Counts the looks for them: what an earlier one finds late is of no use. */
let looks = 0;

function handOver() {
  const shown = state.options.find((/** @type {any} */ option) => option.is_shown)?.name;
  const one = (/** @type {string} */ title, /** @type {string} */ words, /** @type {any} */ order, canDo = true) => h("li", { key: title }, h("button", { disabled: !canDo || (!!state.work && order.do !== "still"), onclick: () => handed(order) }, title), h("span", { class: "quiet" }, words));
  const on = day || today();
  return [
    h("ul", { class: "hand-over" },
      one("A still of this view", "as a PNG, to keep", { do: "still" }),
      one("All stills", "pages for the client, in the folder out beside the site file", { do: "stills" }),
      one("Results and maps", "every number and a map for any GIS, in the folder out", { do: "results" }),
      one("Pack", "for the client: report, scene, plan, drawing, model, maps and tables, in the folder out/pack", { do: "pack" }, !!shown)),
    shown ? [
      h("h3", null, `Option \u201c${shown}\u201d`),
      h("label", { class: "field wide" }, h("span", { class: "field-name" }, "day of the work"), h("input", { type: "date", "data-field": "day", value: on, required: true, onchange: (/** @type {any} */ event) => { day = event.target.value; redraw(); } })),
      h("ul", { class: "hand-over" },
        one("Fixing sheet", "where and how each unit is fixed, with what a compass shows on that day, in the folder out", { do: "sheet", option: shown, on }),
        one("Walk test", "the short walks that prove or break the map, to walk by and to fill in, in the folder out", { do: "walktest", option: shown })),
      readForm(shown, on),
    ] : null,
  ];
}

/** A sheet of a walk test that was filled in, to be read. @param {string} shown @param {string} on */
function readForm(shown, on) {
  if (sheets === null) {
    sheets = [];
    const look = looks;
    link.ask({ do: "walk_sheets" }).then((answer) => {
      if (look !== looks) return;
      sheets = answer?.files ?? [];
      redraw();
    });
  }
  if (!sheets.length) return h("p", { class: "quiet" }, "Once its sheet, a CSV file, is filled in and lies in the folder, it can be read here.");
  const chosen = sheets.includes(sheet) ? sheet : sheets[0];
  return h("div", { class: "row end" },
    h("label", { class: "field wide" }, h("span", { class: "field-name" }, "sheet of its walk test, filled in"),
      h("select", { "data-field": "sheet", onchange: (/** @type {any} */ event) => { sheet = event.target.value; redraw(); } }, sheets.map((file) => h("option", { key: file, value: file, selected: file === chosen }, file)))),
    h("button", { disabled: !!state.work, onclick: () => handed({ do: "read_walks", option: shown, file: chosen, on }) }, "Read it"));
}

/** @param {any} order */
async function handed(order) {
  if (order.do !== "still") {
    link.send(order);
    shut();
    return;
  }
  const answer = await link.ask(order);
  if (!answer?.url) return;
  const anchor = document.createElement("a");
  anchor.href = answer.url;
  anchor.download = answer.name ?? "still.png";
  anchor.click();
  shut();
}

function pageForm() {
  const units = state.site.units;
  const choices = (/** @type {string} */ legend, /** @type {string} */ name, /** @type {[string, string][]} */ ways, /** @type {string} */ now, /** @type {(way: string) => void} */ take) =>
    h("fieldset", { class: "checks" }, h("legend", null, legend), ways.map(([way, words]) => h("label", { key: way, class: "way" },
      h("input", { type: "radio", name, value: way, checked: way === now, onchange: () => take(way) }), h("span", null, words))));
  return [
    choices("Lengths in", "units", [["m", "metres"], ["ft", "feet"]], units, (way) => link.send({ do: "units", units: way })),
    choices("Light or dark", "look", [["auto", "as the system is"], ["light", "light"], ["dark", "dark"]], own.look, setLook),
    h("div", { class: "row end" },
      h("button", { class: "danger", onclick: () => openDialog("leave") }, "Leave this site\u2026"),
      h("button", { onclick: () => openDialog("keys") }, "Keys, mouse and fingers")),
  ];
}

function leaving() {
  const unsaved = state.site.unsaved ?? [];
  return [
    unsaved.length ? [h("p", null, "This is not saved, and is lost:"), h("ul", null, unsaved.map((/** @type {string} */ words) => h("li", null, words)))] : h("p", null, "Everything is saved."),
    h("div", { class: "row end" },
      h("button", { onclick: shut }, "Stay"),
      h("button", { class: unsaved.length ? "danger" : "strong", onclick: () => { link.send({ do: "drop" }); shut(); } }, "Leave")),
  ];
}

function keys() {
  return h("dl", { class: "keys" }, KEYS.map(([key, what]) => (what ? h("div", null, h("dt", null, key), h("dd", null, what)) : h("div", { class: "key-head" }, h("dt", null, key), h("dd", null, "")))));
}

/** @param {string} option */
function optionForm(option) {
  if (!state.options.some((/** @type {any} */ one) => one.name === option)) return h("p", null, "It is not there any more.");
  return [
    form("name", "name", option, (name) => { link.send({ do: "rename_option", name: option, new: name }); shut(); }, "Rename"),
    h("div", { class: "row end" },
      h("button", { onclick: () => { link.send({ do: "add_option", name: null, copy_of: option }); shut(); } }, "Copy it"),
      h("button", { class: "danger", onclick: () => { link.send({ do: "remove_option", name: option }); shut(); } }, "Remove it")),
  ];
}
