// From the ground to the picture and back, by a pane's own matrix.

/** @typedef {{x: number, y: number, width: number, height: number, matrix: number[], option: string}} Pane */
/** @typedef {[number, number]} Pixel */
/** @typedef {number[]} Place three numbers: metres east, north, up */

/**
 * Where a place lies in the picture, in the frame's pixels; null behind the camera.
 * @param {Pane} pane
 * @param {Place} at
 * @returns {Pixel | null}
 */
export function pixelOf(pane, at) {
  const m = pane.matrix;
  const [x, y, z] = at;
  const w = m[12] * x + m[13] * y + m[14] * z + m[15];
  if (w <= 1e-9) return null;
  const across = (m[0] * x + m[1] * y + m[2] * z + m[3]) / w;
  const up = (m[4] * x + m[5] * y + m[6] * z + m[7]) / w;
  return [pane.x + ((across + 1) / 2) * pane.width, pane.y + ((1 - up) / 2) * pane.height];
}

/**
 * Where the line of sight of a pixel goes through the level of a height; null where it never does.
 * @param {Pane} pane
 * @param {Pixel} pixel
 * @param {number} z metres
 * @returns {Place | null}
 */
export function placeAtHeight(pane, pixel, z) {
  // The two equations of the pixel in x and y, with z known.
  const m = pane.matrix;
  const u = ((pixel[0] - pane.x) / pane.width) * 2 - 1;
  const v = 1 - ((pixel[1] - pane.y) / pane.height) * 2;
  const a = m[0] - u * m[12], b = m[1] - u * m[13];
  const c = m[4] - v * m[12], d = m[5] - v * m[13];
  const p = u * (m[14] * z + m[15]) - (m[2] * z + m[3]);
  const q = v * (m[14] * z + m[15]) - (m[6] * z + m[7]);
  const det = a * d - b * c;
  if (Math.abs(det) < 1e-12) return null;
  const at = [(p * d - b * q) / det, (a * q - p * c) / det, z];
  return pixelOf(pane, at) ? at : null;
}

/**
 * Where the way from one pixel to another leaves a pane, a little within it; the other where it does not.
 * @param {Pane} pane
 * @param {Pixel} from
 * @param {Pixel} to
 * @returns {Pixel}
 */
export function within(pane, from, to) {
  const room = 16;
  const low = [pane.x + room, pane.y + room];
  const high = [pane.x + pane.width - room, pane.y + pane.height - room];
  let share = 1;
  for (const axis of [0, 1]) {
    const by = to[axis] - from[axis];
    if (to[axis] > high[axis] && by > 0) share = Math.min(share, (high[axis] - from[axis]) / by);
    if (to[axis] < low[axis] && by < 0) share = Math.min(share, (low[axis] - from[axis]) / by);
  }
  share = Math.max(share, 0);
  return [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
}

/**
 * A round length that takes up to so many pixels of a pane seen from straight above; null where none does.
 * @param {Pane} pane
 * @param {number} most pixels
 * @param {number} unit metres
 * @returns {{count: number, pixels: number} | null}
 */
export function scaleOf(pane, most, unit) {
  const from = pixelOf(pane, [0, 0, 0]), to = pixelOf(pane, [unit, 0, 0]);
  const each = from && to ? Math.hypot(to[0] - from[0], to[1] - from[1]) : 0;
  if (!(each > 0)) return null;
  const fits = most / each;
  const power = 10 ** Math.floor(Math.log10(fits));
  const count = [5, 2, 1].map((n) => n * power).find((n) => n <= fits) ?? power;
  return { count: Number(count.toPrecision(1)), pixels: count * each };
}

/** The pane that a pixel lies in. @param {Pane[]} panes @param {Pixel} pixel */
export function paneAt(panes, [x, y]) {
  return panes.find((p) => x >= p.x && x < p.x + p.width && y >= p.y && y < p.y + p.height) ?? panes[0];
}

/** @param {Place} from @param {Place} to metres in plan */
export const lengthOf = (from, to) => Math.hypot(to[0] - from[0], to[1] - from[1]);

/** @param {Place} from @param {Place} to degrees clockwise from north, 0 up to 360 */
export function bearingOf(from, to) {
  const deg = (Math.atan2(to[0] - from[0], to[1] - from[1]) * 180) / Math.PI;
  return (deg + 360) % 360;
}

/**
 * The place on a thing's points or edges that lies near a pixel, points first.
 * @param {Pane} pane
 * @param {Pixel} pixel
 * @param {{id: string, name: string, form: string, points: Place[]}[]} things
 * @param {number} within pixels
 * @returns {{at: Place, name: string} | null}
 */
export function snapped(pane, pixel, things, within) {
  let best = null;
  let nearest = within;
  for (const thing of things) {
    for (const point of thing.points) {
      const there = pixelOf(pane, point);
      const far = there ? Math.hypot(there[0] - pixel[0], there[1] - pixel[1]) : Infinity;
      if (far < nearest) [nearest, best] = [far, { at: point, name: thing.name }];
    }
  }
  if (best) return best;
  for (const thing of things) {
    for (const [from, to] of edgesOf(thing)) {
      const a = pixelOf(pane, from), b = pixelOf(pane, to);
      if (!a || !b) continue;
      const along = [b[0] - a[0], b[1] - a[1]];
      const length2 = along[0] ** 2 + along[1] ** 2 || 1;
      const share = ((pixel[0] - a[0]) * along[0] + (pixel[1] - a[1]) * along[1]) / length2;
      if (share < 0 || share > 1) continue;
      const far = Math.hypot(a[0] + share * along[0] - pixel[0], a[1] + share * along[1] - pixel[1]);
      if (far < nearest) {
        nearest = far;
        best = { at: from.map((value, axis) => value + share * (to[axis] - value)), name: thing.name };
      }
    }
  }
  return best;
}

/**
 * A thing's edges, each as its two ends; an outline is closed.
 * @param {{form: string, points: Place[]}} thing
 * @returns {[Place, Place][]}
 */
export function edgesOf({ form, points }) {
  /** @type {[Place, Place][]} */
  const edges = points.slice(1).map((point, k) => [points[k], point]);
  if (form === "outline" && points.length > 2) edges.push([points[points.length - 1], points[0]]);
  return edges;
}
