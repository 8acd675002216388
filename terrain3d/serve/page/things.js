// At one side: what can be drawn, and what there is, by kind.

import { coordinatesChoice, ofFile } from "/coordinates.js";
import { h } from "/dom.js";
import { addAt, addByTape, beginDrawing, drop, dropPlace, endDrawing } from "/drawing.js";
import { inMetres, lengthUnit, link, own, redraw, say, state, things } from "/page.js";
import { signed } from "/signs.js";

export function thingsPanel() {
  return [
    h("section", { key: "draw", class: "draw" }, own.draw ? drawingNow() : kinds()),
    h("section", { key: "there", class: "there scroll", tabindex: 0, "aria-label": "What there is" }, unitsThere(), there()),
  ];
}

/** So many kinds are seen at once; the others are kept behind a word. */
const FIRST_KINDS = 12;
/** Kinds that are rarely drawn. */
const RARE = new Set(["keep-out ground", "nuisance along a line", "nuisance over ground", "returns taken otherwise"]);

function kinds() {
  const drawn = state.kinds.filter((/** @type {any} */ kind) => kind.form !== "none");
  const first = drawn.filter((/** @type {any} */ kind) => drawn.length <= FIRST_KINDS || !RARE.has(kind.kind));
  const others = drawn.filter((/** @type {any} */ kind) => !first.includes(kind));
  return [
    h("h2", null, "Draw"),
    h("div", { class: "kinds" }, first.map(kindButton)),
    others.length ? h("details", { class: "more", open: own.isMoreOpen, ontoggle: (/** @type {any} */ event) => { own.isMoreOpen = event.target.open; } }, h("summary", null, "More to draw"), h("div", { class: "kinds" }, others.map(kindButton))) : null,
  ];
}

/** @param {any} kind */
const kindButton = (kind) =>
  h("button", { key: kind.kind, class: "kind", onclick: () => beginDrawing(kind.kind) }, signed(kind.sign), h("span", null, kind.label));

/** While something is drawn: how it goes on, by hand and by numbers. */
function drawingNow() {
  const { kind, points } = /** @type {any} */ (own.draw);
  const count = points.length;
  const unit = lengthUnit();
  return [
    h("h2", null, `Drawing: ${kind.label}`),
    h("p", { class: "quiet" }, count ? `${count} ${count === 1 ? "place" : "places"} so far` : "Click its places on the ground, or give them here."),
    placeForm(),
    numbersForm("tape", count ? "By tape, from the last place" : "By tape, from the chosen mount or mark", [["length", `length, ${unit}`], ["bearing", "bearing, \u00b0"]],
      "Tape", (length, bearing) => addByTape(inMetres(length), bearing)),
    h("div", { class: "row" },
      h("button", { class: "strong", onclick: endDrawing, disabled: count < kind.least }, "End"),
      h("button", { onclick: dropPlace, disabled: !count }, "Last place back"),
      h("button", { onclick: drop }, "Drop")),
  ];
}

/** A place by numbers, in the coordinates that are chosen. */
function placeForm() {
  const file = ofFile(), unit = lengthUnit();
  return h("div", { key: file ? "place of file" : "place", class: file ? "place of-file" : "place" },
    coordinatesChoice(),
    file
      ? numbersForm("place of file", "Place, as the site file has it", [["east", `${file.axes[0]}, ${file.unit}`], ["north", `${file.axes[1]}, ${file.unit}`]],
        "Place", (x, y) => addAt(x, y, true))
      : numbersForm("place", "Place, from the middle of the site", [["east", `east, ${unit}`], ["north", `north, ${unit}`]],
        "Place", (east, north) => addAt(inMetres(east), inMetres(north))));
}

/**
 * A line of numbers and a button that takes them.
 * @param {string} name
 * @param {string} title
 * @param {[string, string][]} parts
 * @param {string} word
 * @param {(...numbers: number[]) => void} take
 */
function numbersForm(name, title, parts, word, take) {
  const submit = (/** @type {SubmitEvent} */ event) => {
    event.preventDefault();
    const form = /** @type {HTMLFormElement} */ (event.target);
    const inputs = parts.map(([part]) => /** @type {HTMLInputElement} */ (form.elements.namedItem(part)));
    const numbers = inputs.map((input) => (input.value.trim() === "" ? NaN : Number(input.value)));
    const wrong = numbers.findIndex((number) => !Number.isFinite(number));
    if (wrong >= 0) {
      say(`${parts[wrong][1]}: give a number`, true);
      inputs[wrong].focus();
      return;
    }
    take(...numbers);
    form.reset();
    inputs[0].focus();
  };
  return h("form", { key: name, class: "numbers-form", onsubmit: submit, novalidate: true },
    h("fieldset", null,
      h("legend", null, title),
      parts.map(([part, label]) => h("label", { key: part }, h("span", null, label), h("input", { name: part, type: "text", inputmode: "decimal", autocomplete: "off" }))),
      h("button", null, word)));
}

/** Units of the options in view, by option. */
function unitsThere() {
  const shown = state.options.filter((/** @type {any} */ option) => option.is_shown);
  return shown.map((/** @type {any} */ option) => {
    const units = state.units_drawn.filter((/** @type {any} */ unit) => unit.option === option.name);
    return h("div", { key: `option ${option.name}`, class: "group" },
      h("h3", null, `Units of \u201c${option.name}\u201d`),
      units.length ? h("ul", { class: "items" }, units.map((/** @type {any} */ unit) => {
        const isChosen = state.chosen_unit?.option === option.name && state.chosen_unit?.unit === unit.unit;
        return h("li", { key: unit.unit }, h("button", {
          class: "item", "aria-pressed": isChosen ? "true" : "false",
          onclick: () => link.send({ do: "choose_unit", option: option.name, unit: unit.unit, head: null }),
        }, `${unit.unit} on ${unit.mount}`));
      })) : h("p", { class: "quiet" }, "No unit yet: choose a mount and put one on it."));
  });
}

function there() {
  const all = things();
  const settings = all.filter((thing) => thing.form === "none");
  const drawn = state.kinds.map((/** @type {any} */ kind) => {
    if (kind.form === "none") return null;
    const of_kind = all.filter((thing) => thing.kind === kind.kind);
    if (!of_kind.length) return null;
    return h("div", { key: kind.kind, class: "group" },
      h("h3", null, kind.label),
      h("ul", { class: "items" }, of_kind.map((thing) => h("li", { key: thing.id }, h("button", {
        class: "item", "aria-pressed": thing.id === state.chosen ? "true" : "false",
        onclick: () => choose(thing.id),
      }, signed(kind.sign), h("span", null, thing.name || kind.label), thing.is_from_file ? h("span", { class: "quiet" }, "from a file") : null)))));
  });
  return [...drawn, settings.length ? h("div", { key: "settings", class: "group" }, h("h3", null, "settings of the site"),
    h("ul", { class: "items" }, settings.map((thing) => h("li", { key: thing.id }, h("button", {
      class: "item", "aria-pressed": thing.id === state.chosen ? "true" : "false", onclick: () => choose(thing.id),
    }, thing.name || labelOf(thing.kind)))))) : null];
}

/** @param {string} kind */
const labelOf = (kind) => state.kinds.find((/** @type {any} */ one) => one.kind === kind)?.label ?? kind;

/** @param {string} id */
function choose(id) {
  link.send({ do: "choose", id });
  own.mode = "look";
  redraw();
}
