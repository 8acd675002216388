// The picture in the middle: frames as they come, what a hand does to it, and the drawing that lies over it.

import { addPlace, askAt, drop, dropPlace, endDrawing, plan } from "/drawing.js";
import { put } from "/dom.js";
import { overlay } from "/overlay.js";
import { drawnBy, framesGoTo, link, own, redraw, state, things } from "/page.js";
import { bearingOf, paneAt, pixelOf, placeAtHeight, snapped } from "/project.js";

const TURN_DEG_PER_PX = 0.35;
const CLICK_PX = 5;
const SNAP_PX = 10;
/** Nearer by so many steps for a whole pinch or a notch of the wheel. */
const STEPS_A_DOUBLING = 7.3;
const TURN_KEY_DEG = 5;
const SHIFT_KEY_PX = 40;
const CROSS_KEY_PX = 10;
/** A wheel that does not turn for so long rests. */
const REST_MS = 200;

/** @type {HTMLElement} */
let place;
/** @type {HTMLCanvasElement} */
let canvas;
/** @type {SVGSVGElement} */
let over;
/** How the frame lies in its place: pixels of the page for one of the frame as it is meant to be shown, and its upper left. */
let fit = { scale: 1, left: 0, top: 0 };
/** @type {Map<number, {x: number, y: number}>} */
const fingers = new Map();
/** @type {any} what the hand holds: a handle, or the picture itself */
let held = null;
/** Where the keys have moved the cross to, in pixels of the frame. @type {[number, number] | null} */
let cross = null;

/** @param {HTMLElement} found the element that the picture is put into */
export function beginPicture(found) {
  place = found;
  canvas = document.createElement("canvas");
  over = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  over.classList.add("over");
  place.append(canvas, over);
  framesGoTo(show);
  drawnBy(drawOver);
  new ResizeObserver(resized).observe(place);
  rest();
  place.addEventListener("pointerdown", pressed);
  place.addEventListener("pointermove", moved);
  place.addEventListener("pointerup", released);
  place.addEventListener("pointercancel", released);
  place.addEventListener("pointerleave", () => point(null));
  place.addEventListener("dblclick", () => inTurn(() => own.draw && endDrawing()));
  place.addEventListener("wheel", wheeled, { passive: false });
  place.addEventListener("contextmenu", (event) => event.preventDefault());
  place.addEventListener("keydown", keyed);
  place.addEventListener("focus", redraw);
}

let asked = "";
export function resized() {
  const { width, height } = place.getBoundingClientRect();
  const size = { width: Math.round(width), height: Math.round(height) };
  if (size.width < 50 || size.height < 50) return;
  canvas.width = size.width;
  canvas.height = size.height;
  if (asked !== `${size.width} ${size.height}`) link.send({ do: "size", ...size });
  asked = `${size.width} ${size.height}`;
  if (shown) paint();
}

/** After the line was lost, or another tab asked for its own size. */
export function askSize() {
  asked = "";
  resized();
  rest();
}

/** What a lost line or a page that went took away: the hand has let go. */
function rest() {
  if (!held) link.send({ do: "moving", is_moving: false });
}

/** @type {ImageBitmap | null} */
let shown = null;
/** The picture before is unpacked before: the next one is drawn meanwhile. @type {Promise<any>} */
let unpacked = Promise.resolve();

/** @param {any} head @param {Blob} jpeg */
async function show(head, jpeg) {
  const turn = unpacked.then(() => {
    link.send({ do: "seen", serial: head.serial });
    return createImageBitmap(jpeg);
  });
  unpacked = turn.catch(() => null);
  const bitmap = await turn;
  shown?.close();
  shown = bitmap;
  own.frame = head;
  paint();
  drawOver();
  place.dataset.serial = head.serial;
}

function paint() {
  const pen = canvas.getContext("2d");
  if (!pen || !shown) return;
  // While the view moves fewer pixels come than are shown: all places are told in those of its size.
  const [width, height] = own.frame.size;
  const scale = Math.min(canvas.width / width, canvas.height / height);
  fit = { scale, left: (canvas.width - width * scale) / 2, top: (canvas.height - height * scale) / 2 };
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(shown, fit.left, fit.top, width * scale, height * scale);
}

/** Where an event lies in the frame, in its pixels. @param {{clientX: number, clientY: number}} event @returns {[number, number]} */
function pixelAt(event) {
  const box = place.getBoundingClientRect();
  return [(event.clientX - box.left - fit.left) / fit.scale, (event.clientY - box.top - fit.top) / fit.scale];
}

function drawOver() {
  if (!state?.site || !own.frame) return put(over, []);
  over.setAttribute("viewBox", `${-fit.left / fit.scale} ${-fit.top / fit.scale} ${canvas.width / fit.scale} ${canvas.height / fit.scale}`);
  put(over, overlay(own.frame, held, document.activeElement === place ? cross : null));
}

// ---- what the pointer rests on

let isAsking = false;
/** @type {[number, number] | null | undefined} */
let wanted;

/** Ask what lies under a pixel, one question at a time, the newest next. @param {[number, number] | null} pixel */
async function point(pixel) {
  wanted = pixel;
  if (isAsking || !own.frame) return;
  isAsking = true;
  try {
    while (wanted !== undefined) {
      const at = wanted;
      wanted = undefined;
      own.pointed = at && (await pointedAt(at));
      follow();
      drawOver();
      redraw();
    }
  } finally {
    isAsking = false;
  }
}

/** What lies under a pixel: the ground, snapped to a point or an edge where one is near. @param {[number, number]} pixel @param {any} [grip] */
async function pointedAt(pixel, grip = held) {
  const pane = paneAt(own.frame.panes, pixel);
  const answer = await link.ask({ do: "point", px: pixel[0], py: pixel[1], pane: own.frame.panes.indexOf(pane) });
  if (!answer) return null;
  const near = own.mode === "draw" || grip?.what === "point" ? snapped(pane, pixel, snappable(grip?.id), SNAP_PX) : null;
  return {
    pane, pixel, at: near?.at ?? answer.ground, to: near?.name ?? null, over: answer.over, verdict: answer.verdict,
    of_file: near ? null : answer.of_file,
  };
}

/** @param {string} [id] of what is held: it does not snap to itself */
function snappable(id) {
  const own_points = own.draw ? [{ id: "", name: "its first place", form: "point", points: own.draw.points.slice(0, 1) }] : [];
  return [...own_points, ...things().filter((thing) => thing.form !== "none" && thing.id !== id)];
}

/** What was clicked before is done before: each click has to wait for what lies under it. */
let before = Promise.resolve();
/** @param {() => any} work */
function inTurn(work) {
  before = before.then(work, work);
  return before;
}

/** Once all that was clicked so far is done. */
export const idle = () => before;

/** Do what a click asks for, there, in the mode in which it was made. @param {[number, number]} pixel */
function click(pixel) {
  const { draw } = own;
  return inTurn(() => (own.draw === draw ? clicked(pixel) : undefined));
}

/** @param {[number, number]} pixel */
async function clicked(pixel) {
  const found = await pointedAt(pixel);
  if (!found) return;
  if (own.draw) {
    const first = own.draw.points[0];
    const closes = own.draw.kind.form === "outline" && own.draw.points.length >= own.draw.kind.least;
    const start = first && pixelOf(found.pane, first);
    if (closes && start && Math.hypot(start[0] - pixel[0], start[1] - pixel[1]) < SNAP_PX) endDrawing();
    else if (found.at) await addPlace(found.at);
  } else if (own.mode === "ask") {
    if (found.at) askAt(found.at);
  } else if (found.over) link.send({ do: "choose", id: found.over });
  else if (found.at) askAt(found.at);
}

// ---- the hand

/** @param {PointerEvent} event */
function pressed(event) {
  if (!own.frame) return;
  place.focus({ preventScroll: true });
  cross = null;
  place.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  const handle = /** @type {Element} */ (event.target).closest?.("[data-handle]");
  const pixel = pixelAt(event);
  if (fingers.size > 1) {
    held = { what: "pinch" };
    link.send({ do: "moving", is_moving: true });
  }
  else if (handle && event.button === 0) held = { ...JSON.parse(handle.getAttribute("data-handle") ?? "{}"), from: pixel, is_same: false };
  else {
    const shifts = event.shiftKey || event.button === 1 || event.button === 2;
    held = { what: shifts ? "shift" : "turn", from: pixel, isClick: event.button === 0 };
  }
  if (held.what === "turn" && state.view === "plan") held.what = "shift";
  if (held.what === "edge") held.start = edgePlace(held, pixel);
}

/** Where an edge is taken hold of, at once: an answer would come when the pointer has gone on. @param {any} grip @param {[number, number]} pixel */
function edgePlace(grip, pixel) {
  const points = things().find((one) => one.id === grip.id)?.points ?? [];
  const [from, to] = [points[grip.index], points[(grip.index + 1) % points.length]];
  return from && to ? placeAtHeight(own.frame.panes[grip.pane], pixel, (from[2] + to[2]) / 2) ?? undefined : undefined;
}

/** @param {PointerEvent} event */
function moved(event) {
  const was = fingers.get(event.pointerId);
  const pixel = pixelAt(event);
  if (!was || !held) {
    if (event.pointerType !== "touch") point(pixel);
    return;
  }
  const now = { x: event.clientX, y: event.clientY };
  const by = { x: now.x - was.x, y: now.y - was.y };
  if (held.what === "pinch") {
    pinched(event.pointerId, now);
    return;
  }
  if (held.from && Math.hypot(pixel[0] - held.from[0], pixel[1] - held.from[1]) * fit.scale > CLICK_PX) {
    if (held.isClick || !held.isMoving) link.send({ do: "moving", is_moving: true });
    held.isClick = false;
    held.isMoving = true;
  }
  if (!held.isMoving) return;
  fingers.set(event.pointerId, now);
  if (held.what === "turn") link.send({ do: "turn", across: -by.x * TURN_DEG_PER_PX, up: by.y * TURN_DEG_PER_PX });
  else if (held.what === "shift") link.send({ do: "shift", across: by.x / fit.scale, up: -by.y / fit.scale });
  else drag(pixel);
}

/** Two fingers: nearer where they part, and along with them. @param {number} id @param {{x: number, y: number}} now */
function pinched(id, now) {
  const [a, b] = [...fingers.values()];
  const apart = Math.hypot(a.x - b.x, a.y - b.y);
  const middle = [(a.x + b.x) / 2, (a.y + b.y) / 2];
  fingers.set(id, now);
  const [c, d] = [...fingers.values()];
  const after = [(c.x + d.x) / 2, (c.y + d.y) / 2];
  const at = pixelAt({ clientX: after[0], clientY: after[1] });
  const steps = Math.log2(Math.hypot(c.x - d.x, c.y - d.y) / Math.max(apart, 1)) * STEPS_A_DOUBLING;
  if (Math.abs(steps) > 1e-3) link.send({ do: "nearer", steps, at });
  link.send({ do: "shift", across: (after[0] - middle[0]) / fit.scale, up: (middle[1] - after[1]) / fit.scale });
}

/** @param {PointerEvent} event */
async function released(event) {
  if (!fingers.delete(event.pointerId) || !held) return;
  const done = held;
  if (done.what === "pinch") {
    // What lifts last of two fingers is no click.
    held = fingers.size === 0 ? null : { what: "rest" };
    link.send({ do: "moving", is_moving: false });
    return;
  }
  held = null;
  if (done.isMoving) link.send({ do: "moving", is_moving: false });
  if (event.type === "pointercancel") return drawOver();
  if (done.isClick) await click(pixelAt(event));
  else if (done.isMoving) await letGo(done, pixelAt(event));
  else if (done.what === "unit" || done.what === "turn-unit") choose(done);
  drawOver();
}

/** @param {any} what */
const choose = ({ option, unit }) => link.send({ do: "choose_unit", option, unit, head: null });

/** A handle is dragged. @param {[number, number]} pixel */
function drag(pixel) {
  const grip = held;
  const pane = own.frame.panes[grip.pane];
  grip.pixel = pixel;
  if (grip.what === "turn-unit") {
    const at = placeAtHeight(pane, pixel, grip.handle[2]);
    if (!at) return;
    grip.at = at;
    if (!isChosen(grip)) choose(grip);
    const value = Math.round(bearingOf(grip.foot, at) * 10) / 10;
    link.send({ do: "set", setting: "bearing", value, head: null, is_same: grip.is_same });
    grip.is_same = true;
  } else if (grip.what === "unit") {
    grip.mount = nearestMount(pane, pixel);
    drawOver();
  } else {
    point(pixel);
  }
}

/** A point or an edge that is held goes where the pointer is. */
function follow() {
  if ((held?.what === "point" || held?.what === "edge") && own.pointed?.at) held.points = draggedPoints(held, own.pointed.at);
}

/** @param {any} grip */
const isChosen = (grip) => state.chosen_unit?.option === grip.option && state.chosen_unit?.unit === grip.unit;

/** The mount whose foot lies nearest to a pixel. @param {any} pane @param {[number, number]} pixel */
function nearestMount(pane, pixel) {
  const far = (/** @type {any} */ thing) => {
    const at = pixelOf(pane, thing.points[0]);
    return at ? Math.hypot(at[0] - pixel[0], at[1] - pixel[1]) : Infinity;
  };
  const mounts = things().filter((thing) => thing.kind === "mount");
  return mounts.sort((a, b) => far(a) - far(b))[0]?.name ?? null;
}

/** A thing's points while one of them, or an edge, is held. @param {any} grip @param {number[]} at */
function draggedPoints(grip, at) {
  const thing = things().find((one) => one.id === grip.id);
  if (!thing) return null;
  const points = thing.points.map((p) => [...p]);
  if (grip.what === "point") points[grip.index] = at;
  else {
    grip.start ??= at;
    const by = [at[0] - grip.start[0], at[1] - grip.start[1], 0];
    for (const k of [grip.index, (grip.index + 1) % points.length]) {
      points[k] = points[k].map((value, axis) => value + by[axis]);
    }
  }
  return points;
}

/** A handle is let go. @param {any} grip @param {[number, number]} pixel */
async function letGo(grip, pixel) {
  if (grip.what === "unit") {
    if (grip.mount && grip.mount !== grip.on) link.send({ do: "move_unit", option: grip.option, unit: grip.unit, mount: grip.mount });
  } else if (grip.what === "point" || grip.what === "edge") {
    const found = await pointedAt(pixel, grip);
    const points = found?.at ? draggedPoints(grip, found.at) : grip.points;
    if (points) link.send({ do: "move", id: grip.id, points: plan(points), is_same: false });
  }
}

/** @type {ReturnType<typeof setTimeout> | undefined} */
let untilRest;

/** @param {WheelEvent} event */
function wheeled(event) {
  event.preventDefault();
  if (untilRest === undefined) link.send({ do: "moving", is_moving: true });
  clearTimeout(untilRest);
  untilRest = setTimeout(() => {
    untilRest = undefined;
    rest();
  }, REST_MS);
  const steps = event.ctrlKey ? -event.deltaY / 15 : -Math.sign(event.deltaY) * Math.min(Math.abs(event.deltaY) / 100, 3);
  link.send({ do: "nearer", steps, at: pixelAt(event) });
}

// ---- the keys

/** @type {Record<string, [number, number]>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

/** @param {KeyboardEvent} event */
function keyed(event) {
  if (event.ctrlKey && !ARROWS[event.key]) return;
  const places = own.mode === "draw" || own.mode === "ask";
  const arrow = ARROWS[event.key];
  if (arrow && places && !event.ctrlKey) moveCross(arrow, event.shiftKey ? 1 : CROSS_KEY_PX);
  else if (arrow && event.ctrlKey) link.send({ do: "shift", across: arrow[0] * SHIFT_KEY_PX, up: arrow[1] * SHIFT_KEY_PX });
  else if (arrow) {
    if (state.view === "plan") link.send({ do: "shift", across: -arrow[0] * SHIFT_KEY_PX, up: -arrow[1] * SHIFT_KEY_PX });
    else link.send({ do: "turn", across: arrow[0] * TURN_KEY_DEG, up: arrow[1] * TURN_KEY_DEG });
  } else if (event.key === "PageUp" || event.key === "+") link.send({ do: "nearer", steps: 1 });
  else if (event.key === "PageDown" || event.key === "-") link.send({ do: "nearer", steps: -1 });
  else if (event.key === " " && places) click(cross ?? middle());
  else if (event.key === "Enter" && own.draw) inTurn(endDrawing);
  else if (event.key === "Backspace" && own.draw) dropPlace();
  else if (event.key === "Escape" && places) drop();
  else return;
  event.preventDefault();
}

/** @returns {[number, number]} the middle of the last pane: what is set is seen there */
function middle() {
  const pane = own.frame.panes[own.frame.panes.length - 1];
  return [pane.x + pane.width / 2, pane.y + pane.height / 2];
}

/** @param {[number, number]} arrow @param {number} by */
function moveCross([across, up], by) {
  const [x, y] = cross ?? middle();
  const [width, height] = own.frame.size;
  cross = [Math.min(Math.max(x + across * by, 0), width - 1), Math.min(Math.max(y - up * by, 0), height - 1)];
  point(cross);
}
