// What lies over the picture: things that the scene does not draw, handles, what is being drawn, where was asked.

import { h } from "/dom.js";
import { chosenThing, kindOf, lengthText, own, state, things } from "/page.js";
import { bearingOf, lengthOf, pixelOf, scaleOf, within } from "/project.js";

/**
 * @param {any} frame
 * @param {any} held
 * @param {[number, number] | null} cross
 */
export function overlay(frame, held, cross) {
  return frame.panes.map((/** @type {any} */ pane, /** @type {number} */ index) => {
    const box = { x: pane.x, y: pane.y, width: pane.width, height: pane.height };
    const id = `pane-${index}`;
    return h("g", { key: id, "clip-path": `url(#${id})` },
      h("clipPath", { id }, h("rect", box)),
      things().map((thing) => thingLines(pane, thing, held)),
      unitMarks(pane, index, held),
      thingHandles(pane, index, held),
      drawn(pane),
      asked(pane),
      scaleBar(pane),
      cross && index === frame.panes.length - 1 ? crossAt(cross) : null,
    );
  });
}

/** @param {any} pane @param {number[][]} points @param {boolean} isClosed */
function path(pane, points, isClosed) {
  const pixels = points.map((point) => pixelOf(pane, point));
  if (pixels.some((pixel) => !pixel)) return "";
  return `M${pixels.map((pixel) => (pixel ?? []).map((v) => v.toFixed(1)).join(" ")).join("L")}${isClosed ? "Z" : ""}`;
}

/** The line of a thing that the scene does not show, of one that is held, and of the one that is chosen. @param {any} pane @param {any} thing @param {any} held */
function thingLines(pane, thing, held) {
  const kind = kindOf(thing.kind);
  const points = held?.id === thing.id && held.points ? held.points : thing.points;
  const isChosen = thing.id === state.chosen;
  const isHeld = points !== thing.points;
  if (!kind || thing.form === "none" || !points.length || (kind.is_in_scene && !isChosen && !isHeld)) return null;
  const sign = kind.sign ?? {};
  if (thing.form === "point" || points.length === 1) {
    const at = pixelOf(pane, points[0]);
    if (!at) return null;
    return [
      isChosen ? h("circle", { cx: at[0], cy: at[1], r: 11, class: "halo" }) : null,
      kind.is_in_scene ? null : h("circle", { cx: at[0], cy: at[1], r: 4.5, fill: sign.mark?.fill || sign.fill || "#fff", stroke: sign.mark?.rim ?? sign.line ?? "#1d1d1b", "stroke-width": 1.8 }),
      isChosen ? label(at, thing.name, 16) : null,
    ];
  }
  const d = path(pane, points, thing.form === "outline");
  const width = Math.max(sign.width ?? 1, 1.2);
  return [
    isChosen || isHeld ? h("path", { d, class: "halo" }) : null,
    h("path", { d, class: "thing", stroke: sign.line ?? "#1d1d1b", "stroke-width": width, "stroke-dasharray": (sign.dashes ?? []).map((/** @type {number} */ n) => n * width).join(" ") || null }),
    isChosen ? label(pixelOf(pane, middleOf(points)), thing.name, 16) : null,
  ];
}

/** @param {number[][]} points */
const middleOf = (points) => [0, 1, 2].map((axis) => points.reduce((sum, p) => sum + p[axis], 0) / points.length);

/** @param {number[] | null} at @param {string} text @param {number} [above] */
function label(at, text, above = 14) {
  return at && text ? h("text", { x: at[0], y: at[1] - above, class: "label" }, text) : null;
}

/** @param {any} pane @param {number} index @param {any} held */
function thingHandles(pane, index, held) {
  const thing = chosenThing();
  if (!thing || thing.is_from_file || thing.form === "none" || own.mode !== "look") return null;
  const points = held?.id === thing.id && held.points ? held.points : thing.points;
  /** @type {(number[] | null)[]} */
  const pixels = points.map((/** @type {number[]} */ point) => pixelOf(pane, point));
  const grip = (/** @type {string} */ what, /** @type {number} */ k) => JSON.stringify({ what, id: thing.id, index: k, pane: index });
  const edges = thing.form === "point" ? 0 : thing.form === "line" ? pixels.length - 1 : pixels.length;
  return [
    pixels.slice(0, edges).map((from, k) => {
      const to = pixels[(k + 1) % pixels.length];
      return from && to ? h("line", { x1: from[0], y1: from[1], x2: to[0], y2: to[1], class: "grip-edge", "data-handle": grip("edge", k) }) : null;
    }),
    pixels.map((at, k) => at ? [
      h("circle", { cx: at[0], cy: at[1], r: 14, class: "grip-room", "data-handle": grip("point", k) }),
      h("circle", { cx: at[0], cy: at[1], r: 6, class: "grip" }),
    ] : null),
  ];
}

/** Units of a pane's option: the unit to be dragged to another mount, its handle to be turned by. @param {any} pane @param {number} index @param {any} held */
function unitMarks(pane, index, held) {
  if (own.mode !== "look") return null;
  return state.units_drawn.filter((/** @type {any} */ unit) => unit.option === pane.option).map((/** @type {any} */ unit) => {
    const isChosen = state.chosen_unit?.option === unit.option && state.chosen_unit?.unit === unit.unit;
    const at = pixelOf(pane, unit.at);
    const isHeld = held?.option === unit.option && held?.unit === unit.unit;
    const away = pixelOf(pane, isHeld && held.at ? held.at : unit.handle);
    if (!at || !away) return null;
    // A handle that would lie out of the picture lies on its edge.
    const handle = isHeld && held.at ? away : within(pane, at, away);
    const about = { option: unit.option, unit: unit.unit, pane: index };
    const turn = JSON.stringify({ ...about, what: "turn-unit", foot: unit.foot, handle: unit.handle });
    const shift = JSON.stringify({ ...about, what: "unit", on: unit.mount });
    const mount = isHeld && held.mount ? things().find((thing) => thing.kind === "mount" && thing.name === held.mount) : null;
    const target = mount ? pixelOf(pane, mount.points[0]) : null;
    return h("g", { key: `${unit.option}/${unit.unit}` },
      h("line", { x1: at[0], y1: at[1], x2: handle[0], y2: handle[1], class: isChosen ? "aim chosen" : "aim" }),
      h("circle", { cx: at[0], cy: at[1], r: 15, class: "grip-room", "data-handle": shift }),
      isChosen ? h("circle", { cx: at[0], cy: at[1], r: 10, class: "halo" }) : null,
      h("circle", { cx: handle[0], cy: handle[1], r: 15, class: "grip-room", "data-handle": turn }),
      h("circle", { cx: handle[0], cy: handle[1], r: 6.5, class: isChosen ? "grip chosen" : "grip" }),
      isHeld && held.what === "turn-unit" ? label(handle, `${Math.round(unit.bearing_deg * 10) / 10}\u00b0`, 18) : null,
      isHeld && held.what === "unit" && held.pixel ? [
        h("circle", { cx: held.pixel[0], cy: held.pixel[1], r: 7, class: "grip chosen" }),
        target ? h("circle", { cx: target[0], cy: target[1], r: 12, class: "halo" }) : null,
        target ? label(target, `to ${held.mount}`, 20) : null,
      ] : null,
    );
  });
}

/** What is being drawn, as far as it is, and the edge that the pointer would add. @param {any} pane */
function drawn(pane) {
  const pointed = own.pointed?.pane === pane || own.pointed?.pane?.x === pane.x ? own.pointed : null;
  const to = pointed?.at && own.mode !== "look" ? pixelOf(pane, pointed.at) : null;
  const mark = to ? h("circle", { cx: to[0], cy: to[1], r: pointed?.to ? 8 : 5, class: pointed?.to ? "snap" : "pointed" }) : null;
  if (!own.draw) return own.mode === "ask" ? mark : null;
  const { kind, points } = own.draw;
  const rubber = pointed?.at ? [...points, pointed.at] : points;
  const isClosed = kind.form === "outline" && rubber.length > 2;
  const last = points[points.length - 1];
  const told = last && pointed?.at && to
    ? `${lengthText(lengthOf(last, pointed.at))}, ${bearingOf(last, pointed.at).toFixed(0)}\u00b0${pointed.to ? `, at ${pointed.to}` : ""}`
    : pointed?.to ? `at ${pointed.to}` : "";
  return [
    points.length ? h("path", { d: path(pane, rubber, isClosed), class: "drawn" }) : null,
    points.map((point) => {
      const at = pixelOf(pane, point);
      return at ? h("circle", { cx: at[0], cy: at[1], r: 4, class: "placed" }) : null;
    }),
    mark,
    label(to, told, 12),
  ];
}

/** Where it was asked why. @param {any} pane */
function asked(pane) {
  const at = state.why && own.side === "why" ? pixelOf(pane, state.why.at) : null;
  if (!at) return null;
  return [
    h("circle", { cx: at[0], cy: at[1], r: 7, class: "asked" }),
    h("circle", { cx: at[0], cy: at[1], r: 2, class: "asked-dot" }),
    label(at, "here", 12),
  ];
}

/** How long the ground is in plan: the scene's own scale stands beside the ground, where a plan may not reach. @param {any} pane */
function scaleBar(pane) {
  if (state.view !== "plan") return null;
  const bar = scaleOf(pane, 0.25 * pane.width, state.site?.units === "ft" ? 0.3048 : 1);
  if (!bar) return null;
  const right = pane.x + pane.width - 16, y = pane.y + pane.height - 14;
  return [
    h("path", { d: `M${right - bar.pixels} ${y - 5}v5h${bar.pixels}v-5`, class: "scale" }),
    h("text", { x: right - bar.pixels / 2, y: y - 7, class: "label" }, `${bar.count} ${state.site?.units === "ft" ? "ft" : "m"}`),
  ];
}

/** @param {[number, number]} at */
function crossAt([x, y]) {
  return h("path", { d: `M${x - 14} ${y}h10M${x + 4} ${y}h10M${x} ${y - 14}v10M${x} ${y + 4}v10`, class: "cross" });
}
