// Drawing a thing: place by place, by hand or by numbers, until it is ended or dropped.

import { chosenThing, kindOf, link, own, redraw, say } from "/page.js";

/** @param {string} name the kind of thing to draw */
export function beginDrawing(name) {
  const kind = kindOf(name);
  if (!kind) return;
  own.mode = "draw";
  own.draw = { kind, points: [] };
  say("");
}

/** Put the next place where it was pointed at; a mount needs no more. @param {number[]} at */
export async function addPlace(at) {
  const drawn = own.draw;
  if (!drawn) return;
  const last = drawn.points[drawn.points.length - 1];
  // The second click of a double click is no place of its own.
  if (last && Math.hypot(last[0] - at[0], last[1] - at[1]) < 0.005) return;
  drawn.points = [...drawn.points, at];
  if (drawn.kind.form === "point") {
    endDrawing();
    return;
  }
  redraw();
  if (drawn.points.length < 4) return;
  const answer = await link.ask({ do: "check_draw", points: plan(drawn.points), form: "line" });
  if (answer?.refusal && own.draw === drawn) {
    drawn.points = drawn.points.filter((point) => point !== at);
    say(answer.refusal, true);
  }
}

/** Place by numbers: metres east and north, or as the site file has them. @param {number} x @param {number} y @param {boolean} [is_of_file] */
export async function addAt(x, y, is_of_file = false) {
  const answer = await link.ask({ do: "check_draw", points: [[x, y]], form: "point", is_of_file });
  if (answer?.refusal) say(answer.refusal, true);
  else if (answer) await addPlace(answer.points[0]);
}

/** Place by tape and compass, from the last place or from the chosen mount or mark. @param {number} length_m @param {number} bearing_deg */
export async function addByTape(length_m, bearing_deg) {
  const points = plan(own.draw?.points ?? []);
  const answer = await link.ask({ do: "tape", points, from: chosenThing()?.id ?? null, length_m, bearing_deg });
  if (answer?.refusal) say(answer.refusal, true);
  else if (answer) await addPlace(answer.point);
}

/** Take the last place back. */
export function dropPlace() {
  if (!own.draw) return;
  own.draw.points = own.draw.points.slice(0, -1);
  redraw();
}

/** The thing is drawn: it goes to the server, if it has places enough. */
export function endDrawing() {
  const drawn = own.draw;
  if (!drawn) return;
  const { kind, points } = drawn;
  if (points.length < kind.least) {
    say(`${kind.label}: it needs ${kind.least} places, ${points.length || "none"} placed so far`, true);
    return;
  }
  own.draw = null;
  own.mode = "look";
  link.send({ do: "draw", kind: kind.kind, points: plan(points) });
  redraw();
}

/** Leave what was being drawn or asked. */
export function drop() {
  own.draw = null;
  own.mode = "look";
  say("");
}

export function beginAsking() {
  own.draw = null;
  own.mode = "ask";
  say("");
}

/** @param {number[]} at ask why, there */
export function askAt([x, y]) {
  link.send({ do: "ask", x, y });
}

/** Places in plan. @param {number[][]} points */
export const plan = (points) => points.map(([x, y]) => [x, y]);

/** What to do next, in a line. */
export function hint() {
  if (own.mode === "ask") return "Click any ground: what holds it, what takes it. Esc: leave";
  if (!own.draw) return "";
  const { kind, points } = own.draw;
  if (kind.form === "point") return `${kind.label}: click its place. Esc: drop`;
  if (points.length < kind.least) {
    const more = kind.least - points.length;
    return `${kind.label}: click ${more} more ${more === 1 ? "place" : "places"}. Esc: drop`;
  }
  return `${kind.label}: click on, or end with Enter or a double click. Backspace: last place back. Esc: drop`;
}
