// The page put together: what stands where, and the keys that work anywhere.

import { beginPage } from "/begin.js";
import { ofFile, ofFileWords } from "/coordinates.js";
import { dialog } from "/dialogs.js";
import { h, put } from "/dom.js";
import { drop, hint } from "/drawing.js";
import { keyStrip, numbersPanel } from "/numbers.js";
import { drawnBy, lengthText, link, own, placeWords, redraw, state, things } from "/page.js";
import { askSize, beginPicture } from "/picture.js";
import { sidePanel } from "/side.js";
import { thingsPanel } from "/things.js";
import { dressPage, save, topBar, viewBar } from "/top.js";

const root = /** @type {HTMLElement} */ (document.getElementById("page"));
const TABS = [["things", "Things"], ["side", "Set"], ["numbers", "Numbers"]];
/** @type {HTMLElement | null} */
let place = null;

function page() {
  if (!state?.site && !state?.begin) return [opening(), lostLine()];
  if (state.begin) return [beginPage(), lostLine()];
  return [
    topBar(),
    h("main", { key: "main", class: `main tab-${own.tab}` },
      h("section", { key: "things", class: "panel things", "aria-label": "Things" }, thingsPanel()),
      h("section", { key: "middle", class: "middle", "aria-label": "The hillside" },
        h("div", { key: "bar", class: "view-bar" }, viewBar()),
        h("div", {
          key: "picture", id: "picture", class: `picture mode-${own.mode}`, tabindex: 0, role: "application",
          "aria-label": "Picture of the hillside", "aria-describedby": "picture-hint", keeps: true,
        }),
        h("div", { key: "hint", class: "hint-room" }, h("div", { class: "hint", id: "picture-hint" }, hint() || pointedWords() || state.next || "Drag to turn; click to choose, or to ask why")),
        h("ul", { key: "key", class: "key", "aria-label": "Key", tabindex: 0 }, keyStrip())),
      h("div", { key: "tabs", class: "narrow-tabs", role: "group", "aria-label": "Below the picture" }, TABS.map(([tab, word]) => h("button", {
        key: tab, "aria-pressed": own.tab === tab ? "true" : "false", onclick: () => { own.tab = tab; redraw(); },
      }, word))),
      h("section", { key: "side", class: "panel side", "aria-label": "What is chosen" }, sidePanel()),
      h("section", { key: "numbers", class: "numbers", "aria-label": "Options and numbers" }, numbersPanel())),
    h("footer", { key: "foot", class: "foot" },
      h("p", { key: "said", class: own.said.is_refusal ? "said refused" : "said", role: "status" }, own.said.text),
      h("p", { key: "caution", class: "caution" }, state.caution)),
    lostLine(),
    dialog(),
  ].filter(Boolean);
}

function pointedWords() {
  const pointed = own.pointed;
  if (!pointed?.at) return "";
  const over = things().find((thing) => thing.id === pointed.over);
  const place = ofFile() && pointed.of_file ? ofFileWords(pointed.of_file) : placeWords(pointed.at);
  return [over?.name, pointed.verdict, `${place}, ${lengthText(pointed.at[2])} up`].filter(Boolean).join("; ");
}

function opening() {
  const now = own.opening;
  return h("main", { key: "opening", class: "opening" }, h("h1", null, "terrain3d"),
    h("p", { role: "status" }, now ? `${now.step}, ${Math.round(now.share * 100)} %` : "Opening\u2026"),
    now ? h("progress", { max: 100, value: Math.round(now.share * 100), "aria-label": now.step }) : null);
}

function lostLine() {
  if (own.line === "there") return null;
  return h("div", { key: "lost", class: "lost", role: "alert" }, own.line === "other"
    ? "terrain3d was started anew: open the address that it printed. What was not saved is kept there."
    : "The connection is lost; it is tried again. What you do meanwhile is kept, and what was not saved too.");
}

function draw() {
  put(root, page());
  const found = document.getElementById("picture");
  if (found && found !== place) {
    place = found;
    beginPicture(found);
  }
  const shown = document.querySelector("dialog");
  if (shown && !shown.open) shown.showModal();
  document.title = state?.site ? `${state.site.unsaved?.length ? "\u2022 " : ""}${state.site.name || "terrain3d"}` : "terrain3d";
}

let line = own.line;
drawnBy(() => {
  draw();
  if (line !== own.line && own.line === "there") askSize();
  line = own.line;
});

document.addEventListener("keydown", (event) => {
  const isTyping = /** @type {Element} */ (event.target).matches?.("input[type=text], select");
  const key = event.key.toLowerCase();
  if (!state?.site) return;
  if ((event.ctrlKey || event.metaKey) && key === "s") {
    event.preventDefault();
    // What is being typed counts as well.
    /** @type {HTMLElement | null} */ (document.activeElement)?.blur();
    save();
  } else if ((event.ctrlKey || event.metaKey) && !isTyping && (key === "z" || key === "y")) {
    event.preventDefault();
    link.send({ do: key === "y" || event.shiftKey ? "redo" : "undo" });
  } else if (event.key === "Escape" && own.mode !== "look" && !own.dialog) drop();
});

dressPage();
redraw();
