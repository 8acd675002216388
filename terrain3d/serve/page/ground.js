// Ground that is typed: a slope, spot levels, or lines of tape; it grows in the picture beside the table.

import { h } from "/dom.js";
import { inMetres, inUnits, lengthUnit, link, plain, redraw, say, state } from "/page.js";

/**
 * @typedef {{key: string, label: string, unit: "length" | "deg" | "percent" | "", begins: any, is_optional?: boolean}} Column
 */

/** @type {Column[]} */
export const PLANE = [
  { key: "fall", label: "falls", unit: "percent", begins: 12 },
  { key: "towards", label: "towards the bearing", unit: "deg", begins: 180 },
  { key: "extent", label: "side of the square", unit: "length", begins: 40 },
];
/** @type {Column[]} */
export const POINTS = [
  { key: "east", label: "east", unit: "length", begins: "" },
  { key: "north", label: "north", unit: "length", begins: "" },
  { key: "height", label: "height", unit: "length", begins: "" },
];
/** @type {Column[]} */
export const SHOTS = [
  { key: "from", label: "from", unit: "", begins: "" },
  { key: "bearing", label: "bearing", unit: "deg", begins: "" },
  { key: "tape", label: "tape", unit: "length", begins: "" },
  { key: "drop", label: "drop", unit: "length", begins: "0" },
  { key: "name", label: "ends at", unit: "", begins: "", is_optional: true },
];

/** @param {Column} column */
export const headOf = (column) => {
  const unit = { length: state?.site ? lengthUnit() : "m", deg: "\u00b0", percent: "%", "": "" }[column.unit];
  return unit ? `${column.label}, ${unit}` : column.label;
};

/** What stands in a cell, as the site file has it; undefined where it is no number. @param {Column} column @param {string} text */
export function cellValue(column, text) {
  const typed = text.trim();
  if (column.unit === "") return typed || (column.is_optional ? null : undefined);
  const number = Number(typed);
  if (typed === "" || !Number.isFinite(number)) return undefined;
  return column.unit === "length" && state?.site ? Number(inMetres(number).toFixed(4)) : number;
}

/** @param {Column} column @param {any} value */
const cellText = (column, value) => (value === null || value === undefined ? "" : column.unit === "length" ? plain(inUnits(value), 3) : String(value));

/** Rows that are being typed and are not whole yet, in this page alone. @type {string[][]} */
let begun = [];

export function groundFields() {
  const table = state.ground_table;
  if (table.kind === "plane") {
    return [h("h2", null, "A slope"), h("div", { class: "fields" }, PLANE.map((column) => h("label", { key: column.key, class: "field" },
      h("span", { class: "field-name" }, headOf(column)),
      h("input", { type: "text", inputmode: "decimal", autocomplete: "off", "data-field": column.key, value: cellText(column, table.plane[column.key]), onchange: (/** @type {any} */ event) => {
        const value = cellValue(column, event.target.value);
        if (value === undefined) say(`${column.label}: give a number`, true);
        else link.send({ do: "ground_set", plane: { ...table.plane, [column.key]: value } });
      } }))))];
  }
  const columns = table.kind === "points" ? POINTS : SHOTS;
  const rows = table.rows.map((/** @type {any} */ row) => columns.map((column, k) => cellText(column, Array.isArray(row) ? row[k] : row[column.key])));
  const send = (/** @type {string[][]} */ typed) => {
    const told = rowsOf(columns, typed);
    if (told) link.send({ do: "ground_set", [table.kind]: told });
  };
  const all = [...rows, ...begun, columns.map(() => "")];
  return [
    h("h2", null, table.kind === "points" ? "Spot levels" : "Lines of tape"),
    h("p", { class: "quiet" }, table.kind === "points" ? "Levels of a few spots, from any zero." : "Tape along the slope, bearing from true north, drop down to where it ends."),
    rowsTable(columns, all, (at, k, text) => {
      if (at < rows.length) send(rows.map((/** @type {string[]} */ row, /** @type {number} */ r) => (r === at ? row.map((cell, c) => (c === k ? text : cell)) : row)));
      else {
        const own_rows = [...begun];
        const place = at - rows.length;
        own_rows[place] = (own_rows[place] ?? columns.map(() => "")).map((cell, c) => (c === k ? text : cell));
        const whole = own_rows.filter((row) => isWhole(columns, row));
        begun = own_rows.filter((row) => !isWhole(columns, row) && row.some((cell) => cell.trim()));
        if (whole.length) send([...rows, ...whole]);
        redraw();
      }
    }, (at) => {
      if (at < rows.length) send(rows.filter((/** @type {any} */ _, /** @type {number} */ r) => r !== at));
      else {
        begun = begun.filter((_, r) => r !== at - rows.length);
        redraw();
      }
    }),
  ];
}

/** @param {Column[]} columns @param {string[]} row */
export const isWhole = (columns, row) => columns.every((column, k) => cellValue(column, row[k]) !== undefined);

/** Rows as the site file has them; null where a cell is none, which is said. @param {Column[]} columns @param {string[][]} typed */
export function rowsOf(columns, typed) {
  const told = [];
  for (const [at, row] of typed.entries()) {
    const values = columns.map((column, k) => cellValue(column, row[k]));
    const wrong = values.findIndex((value) => value === undefined);
    if (wrong >= 0) {
      say(`row ${at + 1}, ${columns[wrong].label}: ${columns[wrong].unit === "" ? "it is missing" : "give a number"}`, true);
      return null;
    }
    if (columns === POINTS) told.push(values);
    else told.push(Object.fromEntries(columns.map((column, k) => [column.key, values[k]]).filter(([, value]) => value !== null)));
  }
  return told;
}

/**
 * A small table to type in; the last row is empty.
 * @param {Column[]} columns
 * @param {string[][]} rows
 * @param {(row: number, column: number, text: string) => void} change
 * @param {(row: number) => void} remove
 */
export function rowsTable(columns, rows, change, remove) {
  return h("table", { class: "typed" },
    h("thead", null, h("tr", null, columns.map((column) => h("th", { scope: "col", key: column.key }, headOf(column))), h("th", null, h("span", { class: "hidden" }, "remove")))),
    h("tbody", null, rows.map((row, at) => h("tr", { key: at },
      row.map((cell, k) => h("td", { key: k }, h("input", {
        type: "text", value: cell, autocomplete: "off", inputmode: columns[k].unit === "" ? "text" : "decimal",
        "aria-label": `row ${at + 1}, ${headOf(columns[k])}`, onchange: (/** @type {any} */ event) => change(at, k, event.target.value),
      }))),
      h("td", null, at < rows.length - 1 ? h("button", { class: "small", "aria-label": `remove row ${at + 1}`, onclick: () => remove(at) }, "\u2212") : null)))));
}
