// Before anything is open: a site file, a survey, or ground that is typed.

import { h } from "/dom.js";
import { PLANE, POINTS, SHOTS, cellValue, headOf, isWhole, rowsOf, rowsTable } from "/ground.js";
import { link, own, redraw, say, state } from "/page.js";

let name = "";
/** What the address names: the survey that this was started with. */
let source = location.hash ? `survey ${decodeURIComponent(location.hash.slice(1))}` : "";
/** What was found in each survey, once it was looked at. @type {Map<string, any>} */
const looked = new Map();
/** @type {string[]} */
let plane = PLANE.map((column) => String(column.begins));
/** @type {Record<string, string[][]>} */
const typed = { points: [], shots: [] };
let crs = "";

export function beginPage() {
  const { sites, surveys, unsaved } = state.begin;
  const ways = [
    ...surveys.map((/** @type {any} */ survey) => ({ id: `survey ${survey.file}`, title: survey.file, survey })),
    { id: "plane", title: "A slope", words: "no survey: a plane that falls" },
    { id: "points", title: "Spot levels", words: "no survey: levels of a few spots" },
    { id: "shots", title: "Tape, compass and level", words: "no survey: measured from a pole" },
  ];
  if (!ways.some((one) => one.id === source)) source = ways[0].id;
  const way = ways.find((one) => one.id === source) ?? ways[0];
  return h("main", { key: "begin", class: "begin" },
    h("h1", null, "Where do you begin?"),
    unsaved ? h("section", null, h("h2", null, "A new site that was never saved"),
      h("p", { class: "quiet" }, "It was open here when the last session ended."),
      h("button", { class: "strong", onclick: () => link.send({ do: "bring_back" }) }, "Bring it back")) : null,
    sites.length ? h("section", null, h("h2", null, "A site file of this folder"),
      h("div", { class: "row wrap" }, sites.map((/** @type {string} */ file) => h("button", { key: file, class: "strong", onclick: () => link.send({ do: "open", file }) }, file)))) : null,
    h("section", null,
      h("h2", null, "A new site"),
      h("label", { class: "field wide" }, h("span", { class: "field-name" }, "what it is called"),
        h("input", { type: "text", maxlength: 200, value: name, autocomplete: "off", "data-field": "site-name", oninput: (/** @type {any} */ event) => { name = event.target.value; } })),
      h("fieldset", { class: "ways" }, h("legend", null, "Its ground"),
        ways.map((one) => h("label", { key: one.id, class: "way" },
          h("input", { type: "radio", name: "ground", value: one.id, checked: one.id === way.id, onchange: () => { source = one.id; redraw(); } }),
          h("span", null, one.title), h("span", { class: "quiet" }, one.words ?? "a survey of this folder")))),
      wayFields(way),
      h("div", { class: "row" }, h("button", { class: "strong", onclick: () => start(way) }, "Begin")),
      h("p", { class: "said", role: "alert" }, own.said.is_refusal ? own.said.text : "")));
}

/** @param {any} way */
function wayFields(way) {
  if (way.survey) {
    return h("div", { key: way.id, class: "fields" },
      surveyFound(way.survey.file),
      h("label", { class: "field wide" }, h("span", { class: "field-name" }, "its CRS, where the file says none"),
        h("input", { type: "text", value: crs, placeholder: "as the file says", autocomplete: "off", oninput: (/** @type {any} */ event) => { crs = event.target.value; } })));
  }
  if (way.id === "plane") {
    return h("div", { key: "plane", class: "fields" }, PLANE.map((column, k) => h("label", { key: column.key, class: "field wide" },
      h("span", { class: "field-name" }, headOf(column)),
      h("input", { type: "text", inputmode: "decimal", autocomplete: "off", value: plane[k], "data-field": column.key, onchange: (/** @type {any} */ event) => { plane[k] = event.target.value; } }))));
  }
  const columns = way.id === "points" ? POINTS : SHOTS;
  const rows = typed[way.id];
  const needed = (way.id === "points" ? 3 : 2) - rows.filter((row) => isWhole(columns, row)).length;
  return h("div", { key: way.id },
    h("p", { class: "quiet" }, way.id === "points"
      ? "Three levels begin; then the ground is shown, and grows with each row."
      : "Two lines begin, from a pole that is named here; then the ground is shown, and grows with each row."),
    rowsTable(columns, [...rows, columns.map((column) => String(column.begins))], (at, k, text) => {
      rows[at] = (rows[at] ?? columns.map((column) => String(column.begins))).map((cell, c) => (c === k ? text : cell));
      redraw();
    }, (at) => { rows.splice(at, 1); redraw(); }),
    needed > 0 ? h("p", { class: "quiet" }, `${needed} more ${needed === 1 ? "row" : "rows"} to begin`) : null);
}

/** What a survey is, and what it is doubted for; it is looked at when it is first chosen. @param {string} file */
function surveyFound(file) {
  const found = looked.get(file);
  if (found === undefined) {
    looked.set(file, null);
    link.ask({ do: "inspect", file }).then((answer) => {
      looked.set(file, answer ?? { lines: [], doubts: [] });
      redraw();
    });
  }
  if (!found) return h("p", { class: "quiet", role: "status" }, own.opening ? `${own.opening.step}, ${Math.round(own.opening.share * 100)} %` : "It is looked at\u2026");
  return h("div", null,
    !found.doubts.length && found.lines.length ? h("p", { class: "quiet" }, "Nothing about it is doubted.") : null,
    found.doubts.length ? h("div", { class: "doubts" }, h("h3", null, "What it is doubted for"), h("ul", null, found.doubts.map((/** @type {string} */ doubt) => h("li", null, doubt)))) : null,
    found.lines.length ? h("details", { class: "more" }, h("summary", null, "What it is"), h("pre", { class: "report" }, found.lines.join("\n"))) : null);
}

/** @param {any} way */
function start(way) {
  const called = name.trim();
  if (!called) {
    say("Say first what the site is called", true);
    return;
  }
  if (way.survey) link.send({ do: "begin_survey", file: way.survey.file, name: called, ...(crs.trim() ? { crs: crs.trim() } : {}) });
  else if (way.id === "plane") {
    const values = PLANE.map((column, k) => cellValue(column, plane[k]));
    const wrong = values.findIndex((value) => value === undefined);
    if (wrong >= 0) say(`${PLANE[wrong].label}: give a number`, true);
    else link.send({ do: "begin_plane", ...Object.fromEntries(PLANE.map((column, k) => [column.key, values[k]])), name: called });
  } else {
    const columns = way.id === "points" ? POINTS : SHOTS;
    const rows = rowsOf(columns, typed[way.id]);
    if (rows) link.send({ do: way.id === "points" ? "begin_points" : "begin_shots", [way.id]: rows, name: called });
  }
}
