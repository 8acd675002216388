// The sign of a thing, as the stills have it: a patch, a piece of line, a mark.

import { h } from "/dom.js";

/** @typedef {{fill: string, line: string, width: number, dashes: number[], stripe: any, mark: any}} Sign */

let count = 0;
/** @type {Map<string, string>} */
const named = new Map();

/** A small picture of a sign; what it means stands beside it. @param {Sign | null | undefined} sign */
export function signed(sign) {
  if (!sign) return null;
  return h(
    "svg",
    { class: "sign", viewBox: "0 0 26 16", width: 26, height: 16, "aria-hidden": "true" },
    h("rect", { width: 26, height: 16, class: "sign-paper" }),
    sign.fill ? patch(sign) : sign.width ? stroke(sign) : null,
    sign.mark && !sign.fill ? mark(sign.mark) : null,
  );
}

/** @param {Sign} sign */
function patch(sign) {
  const stripes = sign.stripe?.hatch ? stripePattern(sign.stripe) : null;
  const edge = { x: 2.5, y: 2.5, width: 21, height: 11 };
  return [
    stripes?.defined,
    h("rect", { ...edge, fill: sign.fill, stroke: sign.line, "stroke-width": 1 }),
    stripes ? h("rect", { ...edge, fill: `url(#${stripes.id})` }) : null,
  ];
}

/** @param {Sign} sign */
function stroke(sign) {
  const dashes = sign.dashes.map((part) => Math.max(part, 0.6) * sign.width).join(" ");
  return h("line", {
    x1: 1, y1: 8, x2: 25, y2: 8, stroke: sign.line, "stroke-width": Math.max(sign.width, 1.2),
    "stroke-dasharray": dashes || null,
  });
}

/** @param {any} mark */
function mark(mark) {
  const look = { fill: mark.fill, stroke: mark.rim, "stroke-width": 1.5 };
  const shapes = {
    "^": () => h("polygon", { points: "13,3 18,12 8,12", ...look }),
    D: () => h("polygon", { points: "13,4 17,8 13,12 9,8", ...look }),
    s: () => h("rect", { x: 9, y: 4, width: 8, height: 8, ...look }),
    "*": () => h("polygon", { points: "13,2 14.6,6.3 19,6.4 15.5,9.1 16.7,13.4 13,10.9 9.3,13.4 10.5,9.1 7,6.4 11.4,6.3", ...look }),
  };
  const shape = (/** @type {any} */ (shapes)[mark.shape] ?? (() => h("circle", { cx: 13, cy: 8, r: 4, ...look })))();
  return [shape, mark.dot ? h("circle", { cx: 13, cy: 8, r: 1.8, fill: mark.rim }) : null];
}

/** @param {{hatch: string, colour: string}} stripe */
function stripePattern({ hatch, colour }) {
  const look = `${hatch} ${colour}`;
  let id = named.get(look);
  if (!id) named.set(look, (id = `stripe-${count++}`));
  const first = hatch[0];
  const d = { "-": "M0 2H5", "\\": "M-1 -1 6 6M4 -1 6 1M-1 4 1 6", "/": "M-1 6 6 -1M4 6 6 4M-1 1 1 -1",
    "|": "M2 0V5", x: "M0 0 5 5M0 5 5 0" }[first];
  const drawn = first === "."
    ? h("circle", { cx: 2.5, cy: 2.5, r: 0.9, fill: colour })
    : h("path", { d, stroke: colour, "stroke-width": 1, fill: "none" });
  const pattern = h("pattern", { id, width: 5, height: 5, patternUnits: "userSpaceOnUse" }, drawn);
  return { id, defined: h("defs", null, pattern) };
}
