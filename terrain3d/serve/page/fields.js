// At the other side: the fields of what is chosen, with their units and limits.

import { coordinatesChoice, ofFile } from "/coordinates.js";
import { h } from "/dom.js";
import { chosenThing, inMetres, inUnits, kindOf, lengthUnit, link, own, plain, redraw, say, state } from "/page.js";
import { unitFields } from "/unit.js";

export function fieldsPanel() {
  if (state.chosen_unit && state.unit) return unitFields();
  const thing = chosenThing();
  if (thing) return thingFields(thing);
  return [
    h("h2", null, "Nothing is chosen"),
    h("p", null, "Choose a thing or a unit, in the list or in the picture, to see what can be set of it."),
    h("p", null, "Click any ground to ask what holds it, or what takes it."),
  ];
}

/** @param {import("/page.js").Thing} thing */
function thingFields(thing) {
  const kind = kindOf(thing.kind);
  if (!kind) return [];
  const isFixed = thing.is_from_file;
  return [
    h("h2", { key: "title" }, thing.form === "none" ? thing.name || kind.label : `${kind.label}${thing.name ? `: ${thing.name}` : ""}`),
    isFixed ? h("p", { key: "fixed", class: "quiet" }, "Drawn in a file of its own: change it there.") : null,
    thing.kind === "mount" ? mountsUnits(thing) : null,
    h("div", { key: `fields ${thing.id}`, class: "fields" },
      kind.has_name ? nameField(thing, isFixed) : null,
      kind.fields.map((field) => oneField(thing, field, isFixed))),
    thing.form === "none" ? null : pointsTable(thing, kind, isFixed),
    thing.form === "none" || isFixed ? null : removing(thing),
  ];
}

/** @param {import("/page.js").Thing} thing @param {boolean} isFixed */
function nameField(thing, isFixed) {
  return h("label", { key: "name", class: "field" }, h("span", { class: "field-name" }, "name"),
    h("input", {
      type: "text", value: thing.name, maxlength: 200, disabled: isFixed, autocomplete: "off", "data-field": "name",
      onchange: (/** @type {any} */ event) => link.send({ do: "rename", id: thing.id, name: event.target.value }),
    }));
}

/** Units that turn with lengths: which power of a length they are of, and how they are written in either. @type {Record<string, {power: number, m: string, ft: string}>} */
const OF_LENGTH = {
  metres: { power: 1, m: "m", ft: "ft" },
  "metres a second": { power: 1, m: "m/s", ft: "ft/s" },
  "m2/m3": { power: -1, m: "m\u00b2/m\u00b3", ft: "ft\u00b2/ft\u00b3" },
  "decibels a metre": { power: -1, m: "dB/m", ft: "dB/ft" },
};

const isLength = (/** @type {any} */ field) => field.unit in OF_LENGTH;
/** A number of the site file as it is shown. @param {number} number @param {any} field */
const shownNumber = (number, field) => (isLength(field) ? number * inUnits(1) ** OF_LENGTH[field.unit].power : number);
/** A number that is typed as the site file has it. @param {number} number @param {any} field */
const fileNumber = (number, field) => (isLength(field) ? round(number * inMetres(1) ** OF_LENGTH[field.unit].power) : number);

/** The unit of a field as it is shown. @param {import("/page.js").Field} field */
export function unitOf(field) {
  if (isLength(field)) return OF_LENGTH[field.unit][lengthUnit()];
  return { "": "", degrees: "\u00b0", percent: "%", decibels: "dB", "degrees C": "\u00b0C" }[field.unit] ?? field.unit;
}

/** What may be given, in words. @param {import("/page.js").Field} field */
function limits(field) {
  const shown = (/** @type {number} */ number) => plain(shownNumber(number, field), 2);
  const low = field.low === null ? "" : `${field.is_above ? "above" : "from"} ${shown(field.low)}`;
  const high = field.high === null || field.high > 1e5 ? "" : `up to ${shown(field.high)}`;
  return [low, high].filter(Boolean).join(", ");
}

/** @param {any} value @param {import("/page.js").Field} field @returns {string} */
function shownValue(value, field) {
  if (value === null || value === undefined) return "";
  if (Array.isArray(value)) return value.map((one) => shownValue(one, field)).join(", ");
  if (typeof value === "number") return plain(shownNumber(value, field), isLength(field) && lengthUnit() === "ft" ? 2 : 4);
  return String(value);
}

/** @param {import("/page.js").Thing} thing @param {import("/page.js").Field} field @param {boolean} isFixed */
function oneField(thing, field, isFixed) {
  const value = thing.values[field.key];
  const send = (/** @type {any} */ given) => link.send({ do: "value", id: thing.id, key: field.key, value: given });
  const helpId = `help-${field.key}`;
  const about = [limits(field), field.meaning].filter(Boolean).join("; ");
  const common = { disabled: isFixed, "aria-describedby": helpId, "data-field": field.key };
  const isYesNo = field.form === "yes or no";
  const isChoice = field.choices.length > 0 && field.form === "text";
  let input;
  if (isYesNo) {
    input = h("input", { type: "checkbox", checked: value ?? field.default, ...common, onchange: (/** @type {any} */ event) => send(event.target.checked) });
  } else if (isChoice) {
    input = h("select", { ...common, value: value ?? field.default ?? "", onchange: (/** @type {any} */ event) => send(event.target.value === "" ? null : event.target.value) },
      field.is_required || field.default !== null ? null : h("option", { value: "" }, "none"),
      field.choices.map((choice) => h("option", { value: choice, key: choice, selected: choice === (value ?? field.default) }, String(choice))));
  } else {
    const isOpen = value === undefined || value === null;
    const placeholder = isOpen && !field.is_required ? shownValue(field.default, field) : "";
    input = h("input", {
      type: "text", inputmode: (isNumber(field) || isNumbers(field)) && !field.choices.length ? "decimal" : "text", autocomplete: "off",
      value: shownValue(value, field), placeholder, ...common, list: field.choices.length ? `words-${field.key}` : null,
      onchange: (/** @type {any} */ event) => {
        const given = readValue(event.target.value, field);
        if (given === undefined) return;
        send(given);
      },
    });
  }
  return h("label", { key: field.key, class: isYesNo ? "field yes-no" : "field" },
    h("span", { class: "field-name" }, field.label),
    h("span", { class: "field-input" }, input, unitOf(field) ? h("span", { class: "unit" }, unitOf(field)) : null),
    field.choices.length && !isChoice ? h("datalist", { id: `words-${field.key}` }, field.choices.map((choice) => h("option", { value: choice }))) : null,
    h("span", { class: "field-help", id: helpId }, about));
}

/** Takes numbers, alone or beside words. @param {import("/page.js").Field} field */
const isNumber = (field) => field.form === "number" || field.form === "whole number";

/** A list of numbers, by what it begins with or what they are in. @param {import("/page.js").Field} field */
const isNumbers = (field) =>
  field.form === "list" && (field.unit !== "" || (Array.isArray(field.default) && field.default.some((one) => typeof one === "number")));

/**
 * What was typed, as the site file has it; undefined where that was said to be none.
 * @param {string} text
 * @param {import("/page.js").Field} field
 */
function readValue(text, field) {
  const typed = text.trim();
  if (typed === "") {
    if (!field.is_required) return null;
    say(`${field.label} is needed`, true);
    return undefined;
  }
  if (field.form === "text" || field.choices.includes(typed)) return typed;
  if (field.form === "list" && !isNumbers(field)) return typed.split(",").map((one) => one.trim()).filter(Boolean);
  const words = field.form === "list" ? typed.split(/[,;\s]+/).filter(Boolean) : [typed];
  const numbers = words.map((word) => fileNumber(Number(word), field));
  if (numbers.some((number) => !Number.isFinite(number))) {
    say(`${field.label}: \u201c${typed}\u201d is no number`, true);
    return undefined;
  }
  return field.form === "list" ? numbers : numbers[0];
}

const round = (/** @type {number} */ number) => Number(number.toFixed(4));

/** Where the thing lies, in numbers. @param {import("/page.js").Thing} thing @param {import("/page.js").Kind} kind @param {boolean} isFixed */
function pointsTable(thing, kind, isFixed) {
  const unit = lengthUnit();
  const file = ofFile();
  const labels = file ? file.axes.map((axis) => `${axis}, ${file.unit}`) : [`east, ${unit}`, `north, ${unit}`];
  const move = (/** @type {number[][]} */ points) => link.send({ do: "move", id: thing.id, points: points.map(([x, y]) => [x, y]), is_same: false });
  const change = (/** @type {number} */ k, /** @type {number} */ axis, /** @type {any} */ event) => {
    const number = Number(event.target.value);
    if (event.target.value.trim() === "" || !Number.isFinite(number)) {
      say(`\u201c${event.target.value}\u201d is no number`, true);
      return;
    }
    if (file) {
      const points = thing.of_file.map((point, at) => (at === k ? point.map((v, a) => (a === axis ? number : v)) : point));
      link.send({ do: "move", id: thing.id, points, is_of_file: true, is_same: false });
    } else move(thing.points.map((point, at) => (at === k ? point.map((v, a) => (a === axis ? inMetres(number) : v)) : point)));
  };
  const between = (/** @type {number} */ k) => {
    const a = thing.points[k];
    const b = thing.points[(k + 1) % thing.points.length];
    move([...thing.points.slice(0, k + 1), a.map((v, axis) => (v + b[axis]) / 2), ...thing.points.slice(k + 1)]);
  };
  const isShort = thing.form === "point";
  return h("details", { key: `points ${thing.id}`, class: "points", open: isShort || own.pointsOpen, ontoggle: (/** @type {any} */ event) => { if (!isShort) own.pointsOpen = event.target.open; } },
    h("summary", null, isShort ? "Place" : `${thing.points.length} points`),
    coordinatesChoice(),
    h("table", null,
      h("thead", null, h("tr", null, h("th", { scope: "col" }, "point"), labels.map((label) => h("th", { key: label, scope: "col" }, label)), isShort ? null : h("th", { scope: "col" }, h("span", { class: "hidden" }, "add or remove")))),
      h("tbody", null, thing.points.map((point, k) => h("tr", { key: k },
        h("th", { scope: "row" }, k + 1),
        [0, 1].map((axis) => h("td", { key: axis }, h("input", {
          type: "text", inputmode: "decimal", autocomplete: "off", disabled: isFixed, value: file ? plain(thing.of_file[k][axis], file.digits) : plain(inUnits(point[axis]), 2),
          "aria-label": `point ${k + 1}, ${file ? file.axes[axis] : axis ? "north" : "east"}`, onchange: (/** @type {any} */ event) => change(k, axis, event),
        }))),
        isShort ? null : h("td", { class: "row" },
          h("button", { class: "small", disabled: isFixed || (thing.form === "line" && k === thing.points.length - 1), onclick: () => between(k), "aria-label": `a point after point ${k + 1}`, title: "a point after this one" }, "+"),
          h("button", { class: "small", disabled: isFixed || thing.points.length <= kind.least, onclick: () => move(thing.points.filter((_, at) => at !== k)), "aria-label": `remove point ${k + 1}`, title: "remove this point" }, "\u2212")))))));
}

/** A mount: what is on it, and one more. @param {import("/page.js").Thing} thing */
function mountsUnits(thing) {
  const shown = state.options.filter((/** @type {any} */ option) => option.is_shown);
  const type = own.newType && state.types.some((/** @type {any} */ one) => one.name === own.newType) ? own.newType : state.types[0]?.name;
  const option = own.newOption !== undefined && [null, ...state.options.map((/** @type {any} */ one) => one.name)].includes(own.newOption) ? own.newOption : shown[shown.length - 1]?.name ?? null;
  return h("fieldset", { key: "put", class: "boxed" },
    h("legend", null, "Put a unit on it"),
    h("label", { class: "field" }, h("span", { class: "field-name" }, "type"),
      h("select", { onchange: (/** @type {any} */ event) => { own.newType = event.target.value; redraw(); } },
        state.types.map((/** @type {any} */ one) => h("option", { key: one.name, value: one.name, selected: one.name === type }, one.name))),
      h("span", { class: "field-help" }, state.types.find((/** @type {any} */ one) => one.name === type)?.about ?? "")),
    h("label", { class: "field" }, h("span", { class: "field-name" }, "option"),
      h("select", { onchange: (/** @type {any} */ event) => { own.newOption = event.target.value || null; redraw(); } },
        state.options.map((/** @type {any} */ one) => h("option", { key: one.name, value: one.name, selected: one.name === option }, one.name)),
        h("option", { key: "", value: "", selected: option === null }, "a new option"))),
    h("button", { class: "strong", onclick: () => { link.send({ do: "add_unit", option, mount: thing.name, type }); own.newOption = undefined; } }, "Put the unit on"));
}

/** @param {import("/page.js").Thing} thing */
function removing(thing) {
  const hangs = thing.kind === "mount" && state.units_drawn.some((/** @type {any} */ unit) => unit.mount === thing.name);
  return h("div", { key: "remove", class: "row end" },
    hangs ? h("button", { class: "danger", onclick: () => link.send({ do: "remove", id: thing.id, with_units: true }) }, "Remove with its units") : null,
    h("button", { class: "danger", onclick: () => link.send({ do: "remove", id: thing.id }) }, "Remove"));
}
