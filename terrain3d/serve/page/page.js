// What the whole page is about: the state as the server told it last, and what is this page's alone.

import { Link } from "/link.js";

/**
 * @typedef {{id: string, kind: string, name: string, points: number[][], of_file: number[][], values: Record<string, any>,
 *   is_from_file: boolean, form: string}} Thing
 * @typedef {{key: string, label: string, unit: string, low: number | null, high: number | null,
 *   choices: any[], default: any, meaning: string, is_required: boolean, is_above: boolean,
 *   form: "number" | "whole number" | "text" | "yes or no" | "list"}} Field
 * @typedef {{kind: string, label: string, form: string, least: number, fields: Field[], sign: any,
 *   has_name: boolean, is_in_scene: boolean}} Kind
 */

/** @type {any} as the server told it last */
export let state = null;

/** This page's own: nothing here is known to the server, or in another tab. */
export const own = {
  /** "there", "lost" or "other" */
  line: "there",
  /** @type {{step: string, share: number} | null} */
  opening: null,
  /** @type {{text: string, is_refusal: boolean}} */
  said: { text: "", is_refusal: false },
  /** what a click on the ground does: "look" chooses, "draw" draws, "ask" asks */
  mode: "look",
  /** @type {{kind: Kind, points: number[][]} | null} */
  draw: null,
  /** @type {{pane: any, at: number[] | null, pixel: [number, number], verdict: string | null, to: string | null, over: string | null, of_file: number[] | null} | null} */
  pointed: null,
  /** @type {any} the picture's head as it came */
  frame: null,
  /** which of the panels is open beside the picture: "fields", "why", "ground", "found" */
  side: "fields",
  /** which panel a narrow page shows: "things", "side", "numbers" */
  tab: "things",
  /** @type {string | null} the dialog that is open */
  dialog: null,
  look: read("look") ?? "auto",
  /** how places are told: "middle" of the site, or "file" as the site file has them */
  coordinates: read("coordinates") ?? "middle",
  pointsOpen: false,
  isMoreOpen: false,
  /** @type {string | undefined} the type of the next unit */
  newType: undefined,
  /** @type {string | null | undefined} the option that it goes into; null is a new one */
  newOption: undefined,
};

/** @type {Set<() => void>} */
const drawers = new Set();
let isDue = false;

/** Have a part of the page drawn whenever something changed. @param {() => void} draw */
export function drawnBy(draw) {
  drawers.add(draw);
}

/** Draw the page anew, once, before the browser shows the next picture. */
export function redraw() {
  if (isDue) return;
  isDue = true;
  requestAnimationFrame(() => {
    isDue = false;
    for (const draw of drawers) draw();
  });
}

/** @type {((head: any, jpeg: Blob) => void) | null} */
let showFrame = null;
/** What came before there was a place for it. @type {[any, Blob] | null} */
let early = null;

/** @param {(head: any, jpeg: Blob) => void} show */
export function framesGoTo(show) {
  showFrame = show;
  if (early) show(...early);
  early = null;
}

export const link = new Link({
  told(told) {
    if (told.is === "state") {
      const before = state;
      state = told;
      own.opening = told.opening ?? null;
      if (told.said && JSON.stringify(told.said) !== JSON.stringify(before?.said)) own.said = told.said;
      turnSides(before, told);
    } else if (told.is === "opening") own.opening = told;
    else if (told.is === "said") own.said = told;
    redraw();
  },
  frame(head, jpeg) {
    if (showFrame) showFrame(head, jpeg);
    else early = [head, jpeg];
  },
  line(how) {
    own.line = how;
    redraw();
  },
});

/** @param {any} before @param {any} now the panel beside the picture follows what was just done */
function turnSides(before, now) {
  const changed = (/** @type {string} */ part) =>
    now[part] && JSON.stringify(now[part]) !== JSON.stringify(before?.[part]);
  // The section to a place is drawn anew whenever a unit moves: that is no new answer.
  const asked = (/** @type {any} */ why) => why && JSON.stringify(why.at);
  if (changed("found")) showSide("found");
  else if (now.why && asked(now.why) !== asked(before?.why)) showSide("why");
  else if (changed("chosen") || changed("chosen_unit")) showSide("fields");
  else if (changed("ground_table") && !before?.ground_table) showSide("ground");
  if ((own.side === "why" && !now.why) || (own.side === "found" && !now.found)) own.side = "fields";
  if (own.side === "ground" && !now.ground_table) own.side = "fields";
}

/** @param {string} side */
export function showSide(side) {
  own.side = side;
  if (own.tab !== "side" && state?.site) own.tab = "side";
  redraw();
}

/** @param {string} name @returns {Kind | undefined} */
export const kindOf = (name) => state.kinds.find((/** @type {Kind} */ kind) => kind.kind === name);

/** The things of the site, each with the form of its kind. @returns {Thing[]} */
export const things = () =>
  state.things.map((/** @type {Thing} */ thing) => ({ ...thing, form: kindOf(thing.kind)?.form ?? "none" }));

/** @returns {Thing | undefined} */
export const chosenThing = () => things().find((thing) => thing.id === state.chosen);

/** Open a dialog over the page; what was said before it is not said in it. @param {string} name */
export function openDialog(name) {
  own.dialog = name;
  own.said = { text: "", is_refusal: false };
  redraw();
}

/** Say something of the page's own. @param {string} text @param {boolean} [is_refusal] */
export function say(text, is_refusal = false) {
  own.said = { text, is_refusal };
  redraw();
}

/** @param {string} name what this browser remembers of the page */
export function read(name) {
  try {
    return localStorage.getItem(`terrain3d-${name}`);
  } catch {
    return null;
  }
}

/** @param {string} name @param {string} value */
export function keep(name, value) {
  try {
    localStorage.setItem(`terrain3d-${name}`, value);
  } catch {
    // A browser that remembers nothing forgets this too.
  }
}

const FOOT_M = 0.3048;

/** Metres in the unit that is shown. @param {number} metres */
export const inUnits = (metres) => (state.site.units === "ft" ? metres / FOOT_M : metres);
/** @param {number} number in the unit that is shown */
export const inMetres = (number) => (state.site.units === "ft" ? number * FOOT_M : number);
/** The unit of lengths that is shown, as it stands beside a number. */
export const lengthUnit = () => (state.site.units === "ft" ? "ft" : "m");
/** @param {number} metres @param {number} [digits] */
export const lengthText = (metres, digits = 1) => `${inUnits(metres).toFixed(digits)} ${lengthUnit()}`;
/** Where a place lies from the middle of the site, in words. @param {number[]} at */
export const placeWords = ([x, y]) =>
  `${lengthText(Math.abs(x))} ${x < 0 ? "west" : "east"}, ${lengthText(Math.abs(y))} ${y < 0 ? "south" : "north"}`;
/** A number without needless digits. @param {number} number @param {number} [digits] */
export const plain = (number, digits = 3) => String(Number(number.toFixed(digits)));
