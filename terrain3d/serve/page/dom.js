// What the page shows, told anew after each change: only what differs is touched, so that focus and what is
// being typed stay.

const SVG = "http://www.w3.org/2000/svg";
const SVG_TAGS = new Set([
  "svg", "g", "path", "line", "polyline", "polygon", "circle", "rect", "text", "defs", "pattern", "clipPath",
]);

/**
 * @typedef {{tag: string, props: Record<string, any>, children: (Told | string)[]}} Told
 */

/**
 * An element as it is to be. Of `props`, functions called `on...` listen, `style` holds styles by name, `key`
 * tells siblings apart.
 * @param {string} tag
 * @param {Record<string, any> | null} [props]
 * @param {...any} children texts, elements, lists of them; null and false are left out
 * @returns {Told}
 */
export function h(tag, props, ...children) {
  const kept = children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false);
  return { tag, props: props ?? {}, children: kept.map((c) => (typeof c === "object" ? c : String(c))) };
}

/**
 * Make an element's children be what is told.
 * @param {Element} parent
 * @param {(Told | string | null | false)[]} children
 */
export function put(parent, children) {
  /** @type {Map<string, any>} */
  const byKey = new Map();
  for (const node of /** @type {any} */ (parent.childNodes)) if (node._key) byKey.set(node._key, node);
  const kept = children.filter((told) => told || told === "");
  const keys = new Set(kept.map((told) => (typeof told === "object" && told ? String(told.props.key) : "")));
  /** @type {any} */
  let next = parent.firstChild;
  const drop = () => {
    const gone = next;
    next = next.nextSibling;
    gone.remove();
  };
  for (const told of kept) {
    if (!told && told !== "") continue;
    // What is gone goes first: whatever is moved in its place would lose the focus.
    while (next && next._key !== undefined && !keys.has(next._key)) drop();
    if (typeof told === "object" && told.props.key === undefined) {
      const more = () => parent.childNodes.length > kept.length;
      while (next && next._key === undefined && next._tag !== told.tag && more()) drop();
    }
    let node = next;
    if (typeof told === "string") {
      if (node?.nodeType === 3) {
        if (node.data !== told) node.data = told;
        next = node.nextSibling;
      } else parent.insertBefore(document.createTextNode(told), node);
      continue;
    }
    const key = told.props.key === undefined ? undefined : String(told.props.key);
    if (key !== undefined) node = byKey.get(key) ?? null;
    else while (node && node._key !== undefined) node = node.nextSibling;
    if (!node || node._tag !== told.tag || node._key !== key) node = made(told.tag, key);
    if (node === next) next = node.nextSibling;
    else parent.insertBefore(node, next);
    dress(node, told);
  }
  while (next) {
    const after = next.nextSibling;
    next.remove();
    next = after;
  }
}

/** @param {string} tag @param {string | undefined} key */
function made(tag, key) {
  const node = /** @type {any} */ (
    SVG_TAGS.has(tag) ? document.createElementNS(SVG, tag) : document.createElement(tag)
  );
  node._tag = tag;
  node._key = key;
  node._props = {};
  return node;
}

/** @param {any} node @param {Told} told */
function dress(node, told) {
  const before = node._props;
  const now = told.props;
  if (!now.keeps) put(node, told.children);
  for (const name of Object.keys(before)) if (!(name in now)) set(node, name, undefined);
  for (const name of Object.keys(now)) {
    const is_live = name === "value" || name === "checked" || name === "selected";
    const is_same = name === "style" ? same(before.style, now.style) : before[name] === now[name];
    if (name !== "key" && (is_live || !is_same)) set(node, name, now[name]);
  }
  node._props = now;
}

/** @param {any} a @param {any} b */
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

/** @param {any} node @param {string} name @param {any} value */
function set(node, name, value) {
  if (name === "keeps") return;
  if (name === "begins") {
    // What an input begins with; from then on it is the person's.
    if (node._begun === undefined) node.value = node._begun = value ?? "";
    return;
  }
  if (name.startsWith("on")) node[name.toLowerCase()] = value ?? null;
  else if (name === "style") {
    node.style.cssText = "";
    for (const [part, worth] of Object.entries(value ?? {})) node.style.setProperty(part, worth);
  } else if (name === "value") {
    // What a person is typing or dragging is theirs until they are done.
    if (node._isTyped && node === document.activeElement) return;
    const text = value === undefined || value === null ? "" : String(value);
    if (node.value !== text) node.value = text;
  } else if (name === "checked" || name === "selected" || name === "indeterminate" || name === "open") {
    if (node[name] !== !!value) node[name] = !!value;
  } else if (value === undefined || value === null || value === false) node.removeAttribute(name);
  else node.setAttribute(name, value === true ? "" : String(value));
}

document.addEventListener("input", (event) => (/** @type {any} */ (event.target)._isTyped = true), true);
document.addEventListener("change", (event) => (/** @type {any} */ (event.target)._isTyped = false), true);
