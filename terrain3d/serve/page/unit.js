// The chosen unit: its controls, as the window has them, by slider, number or list.

import { h } from "/dom.js";
import { link, plain, say, state, things } from "/page.js";

export function unitFields() {
  const unit = state.unit;
  const { option } = state.chosen_unit;
  const isOne = { option, unit: unit.unit };
  return [
    h("h2", { key: "title" }, `${unit.unit} on ${unit.mount}`),
    h("p", { key: "of", class: "quiet" }, `of \u201c${option}\u201d`),
    h("div", { key: `controls ${option} ${unit.unit} ${unit.head}`, class: "fields" },
      choice("type", unit.type, state.types.map((/** @type {any} */ one) => one.name), (type) => link.send({ do: "type", type })),
      choice("mount", unit.mount, things().filter((thing) => thing.kind === "mount").map((thing) => thing.name),
        (mount) => link.send({ do: "move_unit", ...isOne, mount })),
      unit.heads > 1 ? heads(unit, isOne) : null,
      state.controls.map(control)),
    unit.lines?.length ? h("div", { key: "lines", class: "lines" }, unit.lines.map((/** @type {string} */ line) => h("p", null, line))) : null,
    h("div", { key: "remove", class: "row end" }, h("button", { class: "danger", onclick: () => link.send({ do: "remove_unit", ...isOne }) }, "Remove the unit")),
  ];
}

/** @param {string} name @param {any} value @param {string[]} choices @param {(value: string) => void} take */
function choice(name, value, choices, take) {
  const all = choices.includes(value) ? choices : [value, ...choices];
  return h("label", { key: name, class: "field" }, h("span", { class: "field-name" }, name),
    h("select", { "data-field": name, onchange: (/** @type {any} */ event) => take(event.target.value) },
      all.map((one) => h("option", { key: one, value: one, selected: one === value }, one))));
}

/** @param {any} unit @param {any} isOne */
function heads(unit, isOne) {
  const words = ["all heads", ...Array.from({ length: unit.heads }, (_, k) => `head ${k + 1}`)];
  const now = unit.head === null || unit.head === undefined ? 0 : unit.head + 1;
  return h("fieldset", { key: "heads", class: "field" }, h("legend", { class: "field-name" }, "set for"),
    h("span", { class: "segments" }, words.map((word, k) => h("button", {
      key: k, "aria-pressed": k === now ? "true" : "false",
      onclick: () => link.send({ do: "choose_unit", ...isOne, head: k === 0 ? null : k - 1 }),
    }, word))));
}

/** @param {any} one a control */
function control(one) {
  if (one.is_many) return many(one);
  if (one.choices) return list(one);
  return slider(one);
}

/** @param {any} one @param {any} value @param {boolean} [is_same] */
const set = (one, value, is_same = false) => link.send({ do: "set", setting: one.setting, value, head: state.unit.head ?? null, is_same });

/** A control by slider and number. @param {any} one */
function slider(one) {
  const slid = (/** @type {any} */ event) => {
    const node = event.target;
    set(one, Number(node.value), node._isHeld === true);
    node._isHeld = true;
    link.send({ do: "moving", is_moving: true });
  };
  const let_go = (/** @type {any} */ event) => {
    event.target._isHeld = false;
    link.send({ do: "moving", is_moving: false });
  };
  const typed = (/** @type {any} */ event) => {
    const number = Number(event.target.value);
    if (event.target.value.trim() === "" || !Number.isFinite(number)) {
      say(`${one.label}: \u201c${event.target.value}\u201d is no number`, true);
      return;
    }
    set(one, number);
  };
  return h("div", { key: one.setting, class: "field" },
    h("label", { class: "field-name", for: `number-${one.setting}` }, one.label),
    h("span", { class: "slider" },
      h("input", {
        type: "range", min: one.low, max: one.high, step: one.step, value: one.value, "aria-label": one.label,
        "aria-valuetext": one.shown, "data-slider": one.setting, oninput: slid, onchange: let_go,
      }),
      h("input", {
        type: "text", inputmode: "decimal", id: `number-${one.setting}`, class: "number", value: plain(one.value, 2), autocomplete: "off",
        "data-field": one.setting, onchange: typed,
      }),
      h("span", { class: "unit" }, one.unit)),
    warned(one));
}

/** What is wrong with how it is set. @param {any} one */
const warned = (one) => (one.warning ? h("span", { class: "field-help refused" }, one.warning) : null);

/** A control of a few values. @param {any} one */
function list(one) {
  const at = one.choices.findIndex((/** @type {any} */ value) => value === one.value);
  return h("label", { key: one.setting, class: "field" }, h("span", { class: "field-name" }, one.label),
    h("select", { "data-field": one.setting, onchange: (/** @type {any} */ event) => set(one, one.choices[Number(event.target.value)]) },
      at < 0 ? h("option", { key: "-", value: -1, selected: true }, one.shown) : null,
      one.choices.map((/** @type {any} */ value, /** @type {number} */ k) => h("option", { key: k, value: k, selected: k === at }, one.labels?.[k] ?? String(value)))),
    warned(one));
}

/** A control of which any may be taken, such as zones. @param {any} one */
function many(one) {
  const taken = new Set(one.value);
  return h("fieldset", { key: one.setting, class: "field" }, h("legend", { class: "field-name" }, one.label),
    h("span", { class: "many" }, one.choices.map((/** @type {any} */ value) => h("button", {
      key: value, class: "many-one", "aria-pressed": taken.has(value) ? "true" : "false", "aria-label": `${one.label}: ${value}`,
      onclick: () => set(one, one.choices.filter((/** @type {any} */ other) => (other === value ? !taken.has(value) : taken.has(other)))),
    }, String(value)))),
    warned(one));
}
