"use strict";
// Draws what stands in the page's data, and answers whoever points at it. Nothing is asked of any network.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const T = THREE;
  const byId = (id) => document.getElementById(id);
  const canvas = byId("canvas");

  /** An element with text that is never markup. */
  const element = (tag, text = "", name = "") => {
    const made = document.createElement(tag);
    made.textContent = text;
    made.dir = "auto";
    if (name) made.className = name;
    return made;
  };

  const bytes = (text) => {
    const raw = atob(text);
    const found = new Uint8Array(raw.length);
    for (let k = 0; k < raw.length; k += 1) found[k] = raw.charCodeAt(k);
    return found;
  };
  const floats = (text) => new Float32Array(bytes(text).buffer);
  const whole = (text) => new Uint32Array(bytes(text).buffer);

  /** Values of cells, row after row from the north, from pairs of how many and what. */
  const cells = (text) => {
    const runs = whole(text);
    const found = new Uint16Array(data.cells.rows * data.cells.columns);
    let at = 0;
    for (let k = 0; k < runs.length; k += 2) {
      found.fill(runs[k + 1], at, at + runs[k]);
      at += runs[k];
    }
    return found;
  };

  // What is shown.
  const shown = {
    option: 0,
    beside: -1,
    ground: "verdicts",
    groups: { foliage: true, solids: true, layers: true, units: true, routes: false, protected: true, boundary: true, contours: true, names: true },
  };
  const GROUPS = [
    ["units", "units"], ["layers", "layers and arcs"], ["foliage", "leaves"], ["solids", "solids"],
    ["routes", "ways in"], ["protected", "protected ground"], ["boundary", "boundary"], ["contours", "contours"],
    ["names", "names"],
  ];
  let point = null;

  let renderer;
  try {
    renderer = new T.WebGLRenderer({ canvas, antialias: true, alpha: true });
  } catch (error) {
    byId("failed").hidden = false;
    canvas.hidden = true;
  }

  const world = new T.Scene();
  const optionGroups = data.options.map(() => new T.Group());
  const parts = []; // what is shown or hidden by its group
  let surface = null;
  const textures = new Map();

  const texture = (address) => {
    if (!textures.has(address)) {
      const made = new T.Texture();
      const picture = new Image();
      picture.onload = () => {
        made.image = picture;
        made.needsUpdate = true;
        draw();
      };
      picture.src = address;
      made.anisotropy = renderer.capabilities.getMaxAnisotropy();
      textures.set(address, made);
    }
    return textures.get(address);
  };

  const buildGround = () => {
    const ground = data.ground;
    const x = floats(ground.x), z = floats(ground.z), y = floats(ground.y), light = bytes(ground.light);
    const columns = x.length, rows = z.length;
    const points = new Float32Array(3 * y.length), uv = new Float32Array(2 * y.length);
    const colours = new Float32Array(3 * y.length);
    for (let j = 0; j < rows; j += 1) {
      for (let i = 0; i < columns; i += 1) {
        const k = j * columns + i;
        points.set([x[i], y[k], z[j]], 3 * k);
        uv.set([(x[i] - x[0]) / ground.width, (z[0] - z[j]) / ground.depth], 2 * k);
        colours.fill(light[k] / 255, 3 * k, 3 * k + 3);
      }
    }
    const faces = new Uint32Array(6 * (columns - 1) * (rows - 1));
    let at = 0;
    for (let j = 0; j + 1 < rows; j += 1) {
      for (let i = 0; i + 1 < columns; i += 1) {
        const a = j * columns + i, b = a + 1, c = a + columns, d = c + 1;
        faces.set([a, b, d, a, d, c], at);
        at += 6;
      }
    }
    const shape = new T.BufferGeometry();
    shape.setAttribute("position", new T.BufferAttribute(points, 3));
    shape.setAttribute("uv", new T.BufferAttribute(uv, 2));
    shape.setAttribute("color", new T.BufferAttribute(colours, 3));
    shape.setIndex(new T.BufferAttribute(faces, 1));
    surface = new T.Mesh(shape, new T.MeshBasicMaterial({ vertexColors: true, side: T.DoubleSide }));
    world.add(surface);
  };

  const positions = (mesh) => {
    const steps = new Uint16Array(bytes(mesh.points).buffer);
    const points = new Float32Array(steps.length);
    for (let k = 0; k < steps.length; k += 1) points[k] = mesh.low[k % 3] + (steps[k] / 65535) * mesh.size[k % 3];
    return points;
  };

  /** Chains drawn on the ground as ribbons, for a line is one pixel wide however near it is. */
  const ribbons = (points, chains, lengths, width) => {
    const corners = [], faces = [];
    let at = 0;
    for (const length of lengths) {
      for (let k = 0; k < length; k += 1) {
        const here = chains[at + k], before = chains[at + Math.max(k - 1, 0)], after = chains[at + Math.min(k + 1, length - 1)];
        let across = [-(points[3 * after + 2] - points[3 * before + 2]), points[3 * after] - points[3 * before]];
        const size = Math.hypot(across[0], across[1]) || 1;
        across = [(across[0] / size) * (width / 2), (across[1] / size) * (width / 2)];
        for (const side of [-1, 1]) {
          corners.push(points[3 * here] + side * across[0], points[3 * here + 1] + 0.03, points[3 * here + 2] + side * across[1]);
        }
        const n = corners.length / 3;
        if (k > 0) faces.push(n - 4, n - 3, n - 1, n - 4, n - 1, n - 2);
      }
      at += length;
    }
    const shape = new T.BufferGeometry();
    shape.setAttribute("position", new T.Float32BufferAttribute(corners, 3));
    shape.setIndex(faces);
    return shape;
  };
  const WIDTHS = { protected: 0.16, routes: 0.22, boundary: 0.14, layers: 0.1, units: 0.1 };

  const build = (mesh, into) => {
    const points = positions(mesh);
    let made;
    if (mesh.chains && mesh.onGround) {
      const shape = ribbons(points, whole(mesh.chains), mesh.lengths, WIDTHS[mesh.group] || 0.12);
      made = new T.Mesh(shape, new T.MeshBasicMaterial({
        color: mesh.colour, side: T.DoubleSide, polygonOffset: true, polygonOffsetFactor: -2, polygonOffsetUnits: -8,
      }));
    } else if (mesh.chains) {
      const chains = whole(mesh.chains), pairs = [];
      let at = 0;
      for (const length of mesh.lengths) {
        for (let k = 0; k + 1 < length; k += 1) pairs.push(chains[at + k], chains[at + k + 1]);
        at += length;
      }
      const shape = new T.BufferGeometry();
      shape.setAttribute("position", new T.BufferAttribute(points, 3));
      shape.setIndex(pairs);
      made = new T.LineSegments(shape, new T.LineBasicMaterial({ color: mesh.colour }));
    } else {
      let shape = new T.BufferGeometry();
      shape.setAttribute("position", new T.BufferAttribute(points, 3));
      shape.setIndex(new T.BufferAttribute(whole(mesh.faces), 1));
      if (mesh.group !== "foliage" && mesh.group !== "units") shape = shape.toNonIndexed();
      shape.computeVertexNormals();
      const look = { color: mesh.colour, side: T.DoubleSide };
      if (mesh.opacity < 1) Object.assign(look, { transparent: true, opacity: mesh.opacity, depthWrite: false });
      made = new T.Mesh(shape, new T.MeshLambertMaterial(look));
      made.renderOrder = mesh.opacity < 1 ? 2 : 0;
    }
    into.add(made);
    parts.push({ group: mesh.group, made });
  };

  /** Black and white along each side of the block, two steps of round length. */
  const tags = [];
  const buildScale = () => {
    const x = floats(data.ground.x), z = floats(data.ground.z);
    const west = x[0], east = x[x.length - 1], south = z[0], north = z[z.length - 1];
    const low = floats(data.ground.y).reduce((a, b) => Math.min(a, b), 0) - 0.02 * Math.max(east - west, south - north);
    const count = [200, 100, 50, 20, 10, 5, 2, 1].find((one) => 2 * one * data.unit.metres <= 0.5 * Math.min(east - west, south - north)) || 0.5;
    const step = count * data.unit.metres;
    const tall = 0.012 * Math.max(east - west, south - north);
    const sides = [[west, south, 1, 0, 0, 1], [east, south, 0, -1, 1, 0], [east, north, -1, 0, 0, -1], [west, north, 0, 1, -1, 0]];
    for (const [x0, z0, dx, dz, ox, oz] of sides) {
      for (let k = 0; k < 2; k += 1) {
        const box = new T.Mesh(
          new T.BoxGeometry(dx ? step : tall, tall, dz ? step : tall),
          new T.MeshBasicMaterial({ color: k ? "#ffffff" : "#1d1d1b" }));
        const middle = 0.6 + (k + 0.5) * step;
        box.position.set(x0 + dx * middle + ox * tall, low, z0 + dz * middle + oz * tall);
        world.add(box);
      }
      for (let k = 0; k < 3; k += 1) {
        const far = 0.6 + k * step;
        tags.push({
          text: `${k * count}${k === 2 ? ` ${data.unit.sign}` : ""}`, kind: "scale", outward: [ox, oz], option: -1,
          at: new T.Vector3(x0 + dx * far + ox * 2.5 * tall, low - tall, z0 + dz * far + oz * 2.5 * tall),
        });
      }
    }
  };

  // The camera turns about a target.
  const camera = new T.PerspectiveCamera(35, 1, 0.1, 5000);
  const size = Math.hypot(data.ground.width, data.ground.depth);
  let top = 1;
  const first = () => ({ target: new T.Vector3(0, top / 2, 0), bearing: data.view.bearing, down: data.view.down, far: 1 });
  let view = null;

  /** From how far all of the block is in a picture of so much width by height, looked at as at first. */
  const fits = new Map();
  const fit = (aspect) => {
    const key = aspect.toFixed(3);
    if (!fits.has(key)) {
      const half = Math.tan((camera.fov * Math.PI) / 360);
      const d = (data.view.down * Math.PI) / 180, b = (data.view.bearing * Math.PI) / 180;
      const ahead = [Math.cos(d) * Math.sin(b), -Math.sin(d), -Math.cos(d) * Math.cos(b)];
      const right = [Math.cos(b), 0, Math.sin(b)];
      const up = [Math.sin(d) * Math.sin(b), Math.cos(d), -Math.sin(d) * Math.cos(b)];
      const dot = (p, q) => p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
      let far = 1;
      for (const x of [-0.5, 0.5]) for (const z of [-0.5, 0.5]) for (const y of [-0.5, 0.5]) {
        const corner = [x * data.ground.width, y * top, z * data.ground.depth];
        const near = dot(corner, ahead);
        // Over and under the block some room is left, for names and for what one presses.
        far = Math.max(far, Math.abs(dot(corner, right)) / (0.94 * half * aspect) - near, Math.abs(dot(corner, up)) / (0.86 * half) - near);
      }
      fits.set(key, far);
    }
    return fits.get(key);
  };

  const aim = (aspect) => {
    const far = fit(aspect) * view.far;
    const b = (view.bearing * Math.PI) / 180, d = (view.down * Math.PI) / 180;
    camera.aspect = aspect;
    camera.near = far / 200;
    camera.far = far * 6;
    camera.position.set(
      view.target.x - far * Math.cos(d) * Math.sin(b),
      view.target.y + far * Math.sin(d),
      view.target.z + far * Math.cos(d) * Math.cos(b));
    camera.up.set(0, 1, 0);
    camera.lookAt(view.target);
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
  };

  /** The panes of the picture: one, or two side by side where there is more width than height. */
  const panes = () => {
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (shown.beside < 0) return [{ option: shown.option, x: 0, y: 0, width, height }];
    if (width >= height) {
      return [shown.option, shown.beside].map((option, k) => ({ option, x: (k * width) / 2, y: 0, width: width / 2, height }));
    }
    return [shown.option, shown.beside].map((option, k) => ({ option, x: 0, y: (k * height) / 2, width, height: height / 2 }));
  };

  const marker = new T.Group();
  for (const [inner, outer, colour] of [[0.16, 0.34, "#ffffff"], [0.21, 0.29, "#000000"]]) {
    const ring = new T.Mesh(new T.RingGeometry(inner, outer, 32), new T.MeshBasicMaterial({ color: colour, side: T.DoubleSide, depthTest: false }));
    ring.rotation.x = -Math.PI / 2;
    ring.renderOrder = 5;
    marker.add(ring);
  }
  marker.visible = false;

  let asked = false;
  const draw = () => {
    if (!renderer || !view || asked) return;
    asked = true;
    requestAnimationFrame(drawNow);
  };

  const drawNow = () => {
    asked = false;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(width, height, false);
    renderer.setScissorTest(true);
    renderer.setClearColor(0, 0);
    const labels = byId("labels"), names = byId("names");
    labels.replaceChildren();
    names.replaceChildren();
    for (const part of parts) part.made.visible = shown.groups[part.group] !== false;
    for (const pane of panes()) {
      aim(pane.width / pane.height);
      const option = data.options[pane.option];
      surface.material.map = texture(shown.ground === "chances" ? option.chance : option.picture);
      surface.material.map.magFilter = shown.ground === "chances" ? T.NearestFilter : T.LinearFilter;
      surface.material.needsUpdate = true;
      optionGroups.forEach((group, k) => { group.visible = k === pane.option; });
      renderer.setViewport(pane.x, height - pane.y - pane.height, pane.width, pane.height);
      renderer.setScissor(pane.x, height - pane.y - pane.height, pane.width, pane.height);
      renderer.render(world, camera);
      write(pane, labels);
      if (shown.beside >= 0) {
        const name = element("p", `${option.name}: ${option.held}`);
        name.style.left = `${pane.x + 6}px`;
        name.style.top = `${pane.y + 6}px`;
        names.append(name);
      }
    }
    byId("north").style.transform = `rotate(${-view.bearing}deg)`;
    document.body.dataset.drawn = String(Number(document.body.dataset.drawn || 0) + 1);
  };

  /** Names over the picture, those in front first; one that would lie on another is left out. */
  const write = (pane, into) => {
    const taken = [];
    const there = tags.filter((tag) => (tag.option < 0 || tag.option === pane.option) && (tag.kind === "scale" || shown.groups.names));
    for (const tag of there) {
      if (tag.outward) {
        const towards = [camera.position.x - tag.at.x, camera.position.z - tag.at.z];
        const facing = (tag.outward[0] * towards[0] + tag.outward[1] * towards[1]) / Math.hypot(...towards);
        if (facing < 0.35 || view.down > 75) continue;
      }
      const seen = tag.at.clone().project(camera);
      if (seen.z > 1 || Math.abs(seen.x) > 1 || Math.abs(seen.y) > 1) continue;
      const label = element("span", tag.text, tag.kind);
      into.append(label);
      const wide = label.offsetWidth, tall = label.offsetHeight;
      const x = pane.x + ((seen.x + 1) / 2) * pane.width - wide / 2;
      const y = pane.y + ((1 - seen.y) / 2) * pane.height - (tag.kind === "scale" ? 0 : tall);
      const left = Math.min(Math.max(x, pane.x), pane.x + pane.width - wide);
      if (taken.some((o) => left < o[2] && left + wide > o[0] && y < o[3] && y + tall > o[1])) {
        label.remove();
        continue;
      }
      taken.push([left, y, left + wide, y + tall]);
      label.style.transform = `translate(${left}px, ${y}px)`;
    }
  };

  // Pointing.
  const pointed = data.options.map(() => null);
  const percents = data.options.map(() => null);
  const told = (option, place) => {
    pointed[option] = pointed[option] || cells(data.options[option].pointed);
    const lines = [...data.options[option].words[pointed[option][place]]];
    if (data.options[option].percents) {
      percents[option] = percents[option] || cells(data.options[option].percents);
      lines.push(data.percents[percents[option][place]]);
    }
    return lines;
  };

  const tell = () => {
    const box = byId("told");
    box.replaceChildren();
    if (!point) {
      box.append(element("p", "Point at the ground, or tap it: its verdict and what causes it stand here.", "quiet"));
      return;
    }
    const column = Math.floor((point.x - data.cells.west) / data.cells.size);
    const row = Math.floor((point.z - data.cells.north) / data.cells.size);
    if (column < 0 || row < 0 || column >= data.cells.columns || row >= data.cells.rows) return;
    const place = row * data.cells.columns + column;
    for (const option of shown.beside < 0 ? [shown.option] : [shown.option, shown.beside]) {
      const [verdict, ...lines] = told(option, place);
      if (shown.beside >= 0) box.append(element("h2", data.options[option].name));
      const strong = element("p");
      strong.append(element("strong", verdict));
      box.append(strong);
      for (const line of lines) box.append(element("p", line));
    }
  };

  const caster = new T.Raycaster();
  const ask = (x, y) => {
    if (!renderer) return;
    const pane = panes().find((one) => x >= one.x && x < one.x + one.width && y >= one.y && y < one.y + one.height);
    if (!pane) return;
    aim(pane.width / pane.height);
    caster.setFromCamera({ x: (2 * (x - pane.x)) / pane.width - 1, y: 1 - (2 * (y - pane.y)) / pane.height }, camera);
    const [hit] = caster.intersectObject(surface);
    point = hit ? hit.point : null;
    marker.visible = Boolean(hit);
    if (hit) marker.position.copy(hit.point).y += 0.08;
    tell();
    draw();
  };

  // Turning by hand.
  const held = new Map();
  let pressed = null;
  const turn = (across, up) => {
    view.bearing = (view.bearing + across) % 360;
    view.down = Math.min(Math.max(view.down + up, 5), 90);
    draw();
  };
  const shift = (across, up) => {
    const b = (view.bearing * Math.PI) / 180, far = 0.0012 * size * view.far;
    view.target.x += far * (-across * Math.cos(b) + up * Math.sin(b));
    view.target.z += far * (-across * Math.sin(b) - up * Math.cos(b));
    const most = size / 2;
    view.target.x = Math.min(Math.max(view.target.x, -most), most);
    view.target.z = Math.min(Math.max(view.target.z, -most), most);
    draw();
  };
  const nearer = (share) => {
    view.far = Math.min(Math.max(view.far * share, 0.06), 2.5);
    draw();
  };
  const spread = () => {
    const [a, b] = [...held.values()];
    return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, far: Math.hypot(a.x - b.x, a.y - b.y) };
  };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    held.set(event.pointerId, { x: event.offsetX, y: event.offsetY });
    pressed = held.size === 1 ? { x: event.offsetX, y: event.offsetY } : null;
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held.has(event.pointerId)) return;
    const was = held.get(event.pointerId), before = held.size === 2 ? spread() : null;
    const now = { x: event.offsetX, y: event.offsetY };
    held.set(event.pointerId, now);
    if (pressed && Math.hypot(now.x - pressed.x, now.y - pressed.y) > 5) pressed = null;
    if (held.size === 2) {
      const after = spread();
      nearer(before.far / Math.max(after.far, 1));
      shift(after.x - before.x, after.y - before.y);
    } else if (!pressed) {
      if (event.buttons === 2 || event.shiftKey) shift(now.x - was.x, now.y - was.y);
      else turn(0.4 * (now.x - was.x), 0.3 * (now.y - was.y));
    }
  });
  const released = (event) => {
    if (event.type === "pointerup" && pressed && held.size === 1) ask(event.offsetX, event.offsetY);
    held.delete(event.pointerId);
    pressed = null;
  };
  canvas.addEventListener("pointerup", released);
  canvas.addEventListener("pointercancel", released);
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("wheel", (event) => {
    event.preventDefault();
    nearer(Math.exp(Math.sign(event.deltaY) * 0.12));
  }, { passive: false });

  const DO = {
    left: () => turn(15, 0), right: () => turn(-15, 0), up: () => turn(0, 8), down: () => turn(0, -8),
    nearer: () => nearer(0.8), farther: () => nearer(1.25),
    above: () => { view.down = 90; view.bearing = 0; draw(); },
    first: () => { view = first(); draw(); },
  };
  for (const button of document.querySelectorAll("[data-do]")) button.addEventListener("click", () => DO[button.dataset.do]());
  canvas.addEventListener("keydown", (event) => {
    const arrows = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    if (event.key in arrows) {
      const [across, up] = arrows[event.key];
      if (event.shiftKey) shift(40 * across, 40 * up);
      else turn(5 * across, 4 * up);
    } else if (event.key === "+" || event.key === "=") nearer(0.9);
    else if (event.key === "-") nearer(1.1);
    else if (event.key === "Home") DO.first();
    else if (event.key === "Enter") {
      const [pane] = panes();
      ask(pane.x + pane.width / 2, pane.y + pane.height / 2);
    } else return;
    event.preventDefault();
  });

  // The side of the page.
  const choice = (type, group, text, checked, changed, figure = "") => {
    const label = document.createElement("label"), input = document.createElement("input");
    input.type = type;
    input.name = group;
    input.checked = checked;
    input.addEventListener("change", () => changed(input.checked));
    label.append(input, element("span", text));
    if (figure) label.append(element("b", figure));
    return label;
  };

  const tellOption = () => {
    const about = byId("about");
    about.replaceChildren();
    for (const k of shown.beside < 0 ? [shown.option] : [shown.option, shown.beside]) {
      const option = data.options[k];
      about.append(element("h2", option.place ? `${option.name} (${option.place})` : option.name));
      for (const [what, figure] of option.numbers) {
        const number = element("p", "", "number");
        number.append(element("strong", figure), element("span", what));
        about.append(number);
      }
      for (const line of option.lines) about.append(element("p", line));
      for (const [title, ...lines] of option.units) {
        const unit = element("p");
        unit.append(element("strong", `${title}: `), lines.join(", "));
        about.append(unit);
      }
    }
  };

  const refill = () => {
    const beside = byId("beside");
    beside.replaceChildren();
    const add = (value, text) => {
      const made = element("option", text);
      made.value = String(value);
      made.selected = value === shown.beside;
      beside.append(made);
    };
    if (shown.beside === shown.option) shown.beside = -1;
    add(-1, "nothing");
    data.options.forEach((option, k) => { if (k !== shown.option) add(k, option.name); });
    byId("beside-line").hidden = data.options.length < 2;
  };
  const changed = () => {
    refill();
    tellOption();
    tell();
    draw();
  };

  byId("figure").textContent = `For a ${data.figure}. ${data.leftOut}`;
  data.options.forEach((option, k) => byId("options").append(
    choice("radio", "option", option.name, k === 0, () => { shown.option = k; changed(); }, option.held)));
  byId("beside").addEventListener("change", (event) => { shown.beside = Number(event.target.value); changed(); });
  const grounds = [["verdicts", "verdicts"], ...(data.chances.length ? [["chances", "chance of holding, of the model"]] : [])];
  for (const [name, text] of grounds) {
    byId("grounds").append(choice("radio", "ground", text, name === shown.ground, () => { shown.ground = name; draw(); }));
  }
  byId("grounds").hidden = grounds.length < 2;
  const all = [...data.meshes, ...data.options.flatMap((option) => option.meshes)];
  for (const [name, text] of GROUPS) {
    if (name === "names" || all.some((mesh) => mesh.group === name)) {
      byId("groups").append(choice("checkbox", name, text, shown.groups[name], (on) => { shown.groups[name] = on; draw(); }));
    }
  }
  for (const sign of data.key) {
    const row = document.createElement("li"), swatch = document.createElement("i");
    if (sign.fill) {
      swatch.style.background = sign.fill;
      if (sign.stripe) {
        const angle = { 1: "45deg", "-1": "135deg", 0: "0deg" }[sign.slant];
        swatch.style.backgroundImage = `repeating-linear-gradient(${angle}, ${sign.stripe} 0 2px, transparent 2px 6px)`;
      }
    } else {
      swatch.className = "stroke";
      swatch.style.borderTop = `${sign.width}px ${sign.dashed ? "dashed" : "solid"} ${sign.line}`;
      swatch.style.background = "none";
    }
    row.append(swatch, element("span", sign.text));
    byId("key").append(row);
  }
  if (data.chances.length) {
    const row = document.createElement("li"), swatch = document.createElement("i");
    swatch.style.background = `linear-gradient(90deg, ${data.chances.join(", ")})`;
    row.append(swatch, element("span", "chance of holding, from none to certain"));
    byId("key").append(row);
  }
  refill();
  tellOption();

  if (!renderer) return;
  buildGround();
  top = floats(data.ground.y).reduce((a, b) => Math.max(a, b), 0);
  view = first();
  world.add(new T.AmbientLight(0xffffff, 0.55), marker);
  for (const [x, y, z, strength] of [[-0.5, 0.85, -0.5, 0.55], [0.6, 0.5, 0.7, 0.25]]) {
    const light = new T.DirectionalLight(0xffffff, strength);
    light.position.set(x, y, z);
    world.add(light);
  }
  for (const mesh of data.meshes) build(mesh, world);
  data.options.forEach((option, k) => {
    world.add(optionGroups[k]);
    for (const mesh of option.meshes) build(mesh, optionGroups[k]);
    for (const tag of option.tags) tags.push({ text: tag.text, at: new T.Vector3(...tag.at), kind: "unit", option: k });
  });
  for (const tag of data.areas) tags.push({ text: tag.text, at: new T.Vector3(...tag.at), kind: "area", option: -1 });
  buildScale();
  new ResizeObserver(draw).observe(canvas);
  draw();
})();
