"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const options = data.options;
  const state = {
    mode: "loss", units: data.unit_system, critical: false, option: 0, chosen: null,
    sort: "loss", rising: false, find: "", box: null,
  };

  // --- words and numbers

  const unit = (key) => data.units[state.units][key];
  const bare = (key, value) =>
    value === null || value === undefined || Number.isNaN(value)
      ? "–" : (value * unit(key).per_si + 0).toFixed(unit(key).digits);
  const shown = (key, value) => {
    const text = bare(key, value);
    return text === "–" ? text : `${text} ${unit(key).name}`;
  };
  const size = (e) => (state.units === "metric" ? e.section : e.inches);
  const make = (tag, text, className) => {
    const node = document.createElement(tag);
    if (text !== undefined) node.textContent = text; // never as markup
    if (className) node.className = className;
    return node;
  };
  const isTerminal = (element) => element.id.startsWith("terminal-");

  // --- values and colours

  options.forEach((option, number) => {
    option.onPath = new Set(option.critical);
    option.number = number;
    const seen = new Map();
    option.elements.forEach((element, row) => {
      element.row = row;
      element.inches = option.sizes_in[row];
      element.share = option.onPath.has(row)
        ? element.loss_pa / option.critical_loss : null;
      element.perMetre = element.length_m > 0 && element.id.startsWith("duct-")
        ? element.loss_pa / element.length_m : null;
      const name = `${element.name}|${element.id.split("-")[0]}`;
      const count = (seen.get(name) || 0) + 1;
      seen.set(name, count);
      element.key = `${name}|${count}`;
    });
    option.byKey = new Map(option.elements.map((e) => [e.key, e]));
  });
  if (options.length > 1) {
    const differ = make("option", `difference from ${options[0].name}`);
    differ.value = "difference";
    $("mode").append(differ);
  }
  const value = (option, element) => {
    switch (state.mode) {
      case "loss": return isTerminal(element) ? null : element.loss_pa;
      case "per_metre": return element.perMetre;
      case "velocity": return element.velocity_m_s;
      case "share": return element.share;
      default: {
        const other = options[0].byKey.get(element.key);
        return element.loss_pa - (other ? other.loss_pa : 0);
      }
    }
  };
  const largestChange = () => Math.max(1e-9, ...options.flatMap(
    (o) => o.elements.map((e) => Math.abs(value(o, e) || 0))));
  const scale = () => {
    if (state.mode !== "difference") return data.scales[state.units][state.mode];
    const perSi = unit("pressure").per_si;
    const most = Number((largestChange() * perSi).toPrecision(1)) || 1;
    const labels = [-1, -0.5, -0.1, 0.1, 0.5, 1].map((part) => part * most);
    const edges = labels.map((label) => label / perSi);
    const colours = ["#2166ac", "#8fbcdb", "#d9d9d9", "#f1a57c", "#b2182b"];
    return { edges, labels, colours };
  };
  const colourOf = (found, number) => {
    if (number === null || number === undefined || Number.isNaN(number)) return "#b8b8b8";
    let band = 0;
    while (band < found.colours.length - 1 && number >= found.edges[band + 1]) band += 1;
    return found.colours[band];
  };
  const titles = {
    loss: () => `loss of total pressure in each piece, ${unit("pressure").name}`,
    per_metre: () => `friction along the ducts, ${unit("rate").name}; fittings in grey`,
    velocity: () => `velocity, ${unit("velocity").name}`,
    share: () => "share of the critical path's loss; other pieces in grey",
    difference: () => `loss against ${options[0].name}, ${unit("pressure").name}`,
  };
  const legend = () => {
    const found = scale();
    $("legend-title").textContent = titles[state.mode]();
    const mark = state.mode === "share" ? " %" : "";
    $("legend-bands").replaceChildren(...found.labels.map((label, band) => {
      const item = make("li"); // the last edge has no band behind it
      const swatch = make("i");
      if (band < found.colours.length) swatch.style.background = found.colours[band];
      item.append(swatch, make("span", `${Number(label.toPrecision(6))}${mark}`));
      return item;
    }));
  };

  // --- geometry

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const floats = (text) => new Float32Array(bytes(text).buffer);
  // Where the processor draws, smoothing costs three times the rest: left out, and
  // fewer pixels and no edges while the view turns; and of large layouts fewer sides.
  const software = (() => {
    const gl = document.createElement("canvas").getContext("webgl2");
    const facts = gl && gl.getExtension("WEBGL_debug_renderer_info");
    const name = facts ? String(gl.getParameter(facts.UNMASKED_RENDERER_WEBGL)) : "";
    return /swiftshader|llvmpipe|software|basic render/i.test(name);
  })();
  // Of large layouts fewer sides and rings are drawn, so that they turn smoothly.
  const large = options.reduce((sum, o) => sum + o.elements.length, 0) > 600;
  const SIDES = !large ? 24 : software ? 8 : 12;
  const circle = Array.from({ length: SIDES }, (_, i) => {
    const a = (2 * Math.PI * i) / SIDES;
    return [Math.cos(a), Math.sin(a), Math.cos(a), Math.sin(a)];
  });
  // Each corner twice, with the normal of either side.
  const square = [
    [1, -1, 1, 0], [1, 1, 1, 0], [1, 1, 0, 1], [-1, 1, 0, 1],
    [-1, 1, -1, 0], [-1, -1, -1, 0], [-1, -1, 0, -1], [1, -1, 0, -1],
  ];

  const tubeMesh = (option) => {
    const t = option.tubes;
    const centre = floats(t.centre), across = floats(t.across);
    const upright = floats(t.upright), half = floats(t.half);
    const rounds = [];
    let vertices = 0, faces = 0, ends = 0;
    const ringsOf = (tube) => {
      const first = t.offsets[tube], last = t.offsets[tube + 1] - 1, kept = [];
      for (let ring = first; ring <= last; ring += 1) {
        if (!large || ring === first || ring === last || (ring - first) % 3 === 0) {
          kept.push(ring);
        }
      }
      return kept;
    };
    for (let tube = 0; tube + 1 < t.offsets.length; tube += 1) {
      const rings = ringsOf(tube).length;
      let round = false;
      for (let ring = t.offsets[tube]; ring < t.offsets[tube + 1]; ring += 1) {
        round = round || t.round[ring] === 1;
      }
      rounds.push(round);
      vertices += rings * (round ? SIDES : 8);
      faces += (rings - 1) * 2 * (round ? SIDES : 4);
      ends += 2 * (round ? SIDES : 4) + (round ? 0 : 4 * (rings - 1));
    }
    const points = new Float32Array(3 * vertices), normals = new Float32Array(3 * vertices);
    const triangles = new Uint32Array(3 * faces), owners = new Uint32Array(faces);
    const outline = new Float32Array(6 * ends);
    let vertex = 0, face = 0, stroke = 0;
    const put = (into, at, ring, u, v) => {
      const w = u * half[2 * ring], h = v * half[2 * ring + 1];
      for (let k = 0; k < 3; k += 1) {
        into[at + k] = centre[3 * ring + k] + w * across[3 * ring + k]
          + h * upright[3 * ring + k];
      }
    };
    const line = (ring, from, other, to) => {
      put(outline, stroke, ring, from[0], from[1]);
      put(outline, stroke + 3, other, to[0], to[1]);
      stroke += 6;
    };
    rounds.forEach((round, tube) => {
      const kept = ringsOf(tube), first = kept[0], last = kept[kept.length - 1];
      const shape = round ? circle : square, n = shape.length, begin = vertex;
      for (const ring of kept) {
        const boxy = round && t.round[ring] !== 1; // a rectangle seen at the same angle
        for (const [u, v, nu, nv] of shape) {
          const most = boxy ? Math.max(Math.abs(u), Math.abs(v)) : 1;
          put(points, 3 * vertex, ring, u / most, v / most);
          for (let k = 0; k < 3; k += 1) {
            normals[3 * vertex + k] = nu * across[3 * ring + k] + nv * upright[3 * ring + k];
          }
          vertex += 1;
        }
      }
      const step = round ? 1 : 2;
      for (let ring = 0; ring + 1 < kept.length; ring += 1) {
        for (let i = 0; i < n; i += step) {
          const a = begin + ring * n + i, b = begin + ring * n + ((i + 1) % n);
          triangles.set([a, b, a + n, b, b + n, a + n], 3 * face);
          owners[face] = owners[face + 1] = t.element[tube];
          face += 2;
        }
      }
      for (const ring of [first, last]) {
        for (let i = 0; i < n; i += step) line(ring, shape[i], ring, shape[(i + 1) % n]);
      }
      if (!round) {
        for (let ring = 0; ring + 1 < kept.length; ring += 1) {
          for (const at of [[1, 1], [-1, 1], [-1, -1], [1, -1]]) {
            line(kept[ring], at, kept[ring + 1], at);
          }
        }
      }
    });
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(points, 3));
    geometry.setAttribute("normal", new THREE.BufferAttribute(normals, 3));
    geometry.setAttribute("color",
      new THREE.BufferAttribute(new Float32Array(points.length), 3));
    option.triangles = triangles;
    option.owners = owners;
    geometry.setIndex(new THREE.BufferAttribute(option.triangles.slice(), 1));
    geometry.computeBoundingSphere();
    const mesh = new THREE.Mesh(geometry, new THREE.MeshLambertMaterial(
      { vertexColors: true, side: THREE.DoubleSide }));
    const lines = new THREE.BufferGeometry();
    lines.setAttribute("position", new THREE.BufferAttribute(outline, 3));
    const edges = new THREE.LineSegments(lines,
      new THREE.LineBasicMaterial({ color: 0x30343a, transparent: true, opacity: 0.55 }));
    return [mesh, edges];
  };

  const canvas = $("view");
  const sharp = software ? 1 : Math.min(window.devicePixelRatio, 2);
  let moving = false;
  const renderer = new THREE.WebGLRenderer(
    { canvas, antialias: !software, alpha: true, preserveDrawingBuffer: true });
  renderer.setPixelRatio(sharp);
  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -1000, 1000);
  camera.up.set(0, 0, 1);
  const controls = new THREE.OrbitControls(camera, canvas);
  controls.enableDamping = false;
  const whole = new THREE.Box3();

  const scenes = options.map((option) => {
    const scene = new THREE.Scene();
    scene.add(new THREE.HemisphereLight(0xffffff, 0xb9bcc4, 2.2));
    const sun = new THREE.DirectionalLight(0xffffff, 1.1);
    sun.position.set(0.4, -0.7, 1);
    scene.add(sun);
    [option.mesh, option.edges] = tubeMesh(option);
    option.pins = new THREE.Group();
    option.solids = new THREE.Group();
    option.marker = new THREE.Group();
    scene.add(option.mesh, option.edges, option.pins, option.solids, option.marker);
    option.mesh.geometry.computeBoundingBox();
    whole.union(option.mesh.geometry.boundingBox);
    for (const solid of data.obstacles) {
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position",
        new THREE.BufferAttribute(floats(solid.points), 3));
      geometry.setIndex(new THREE.BufferAttribute(
        new Uint32Array(bytes(solid.faces).buffer), 1));
      geometry.computeVertexNormals();
      option.solids.add(new THREE.Mesh(geometry, new THREE.MeshBasicMaterial({
        color: 0x8a8f98, transparent: true, opacity: 0.28, depthWrite: false,
        side: THREE.DoubleSide })));
    }
    for (const gap of option.gaps.filter((g) => !g.kept)) {
      const ball = new THREE.Mesh(new THREE.SphereGeometry(0.06, 12, 8),
        new THREE.MeshBasicMaterial({ color: 0xb3261e }));
      ball.position.set(...gap.at);
      option.marker.add(ball);
    }
    return scene;
  });

  const paint = () => {
    const found = scale();
    const colour = new THREE.Color();
    for (const option of options) {
      const attribute = option.mesh.geometry.getAttribute("color");
      const into = attribute.array;
      const chosen = state.chosen && state.chosen.option === option.number
        ? state.chosen.row : -1;
      const colours = option.elements.map((element) => {
        colour.set(colourOf(found, value(option, element)));
        if (element.row === chosen) colour.lerp(new THREE.Color("#ff2d95"), 0.75);
        return [colour.r, colour.g, colour.b];
      });
      for (let place = 0; place < option.triangles.length; place += 1) {
        into.set(colours[option.owners[Math.floor(place / 3)]], 3 * option.triangles[place]);
      }
      attribute.needsUpdate = true;
    }
    legend();
    draw();
  };
  const visible = (option, row) => (!state.critical || option.onPath.has(row));
  const sift = () => {
    for (const option of options) {
      const kept = [];
      option.shownOwners = [];
      option.owners.forEach((owner, face) => {
        if (!visible(option, owner)) return;
        kept.push(option.triangles[3 * face], option.triangles[3 * face + 1],
          option.triangles[3 * face + 2]);
        option.shownOwners.push(owner);
      });
      option.mesh.geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(kept), 1));
    }
    draw();
  };

  // --- drawing and looking

  let waiting = false;
  let frames = 0;
  const draw = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; render(); frames += 1; });
  };
  const FOOT = 72; // pixels for the legend
  const panes = () => {
    const width = canvas.clientWidth, height = canvas.clientHeight - FOOT;
    const count = options.length;
    const across = state.across || count;
    const down = Math.ceil(count / across);
    return options.map((_, number) => ({
      x: (number % across) * width / across,
      y: Math.floor(number / across) * height / down,
      w: width / across, h: height / down,
    }));
  };
  const render = () => {
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    const hurried = software && moving;
    const ratio = hurried ? 0.4 : sharp;
    for (const option of options) option.edges.visible = !state.critical && !hurried;
    if (renderer.getPixelRatio() !== ratio) renderer.setPixelRatio(ratio);
    const size = renderer.getSize(new THREE.Vector2());
    if (size.x !== width || size.y !== height) renderer.setSize(width, height, false);
    renderer.setScissorTest(true);
    renderer.setClearColor(0x000000, 0);
    panes().forEach((pane, number) => {
      const low = height - pane.y - pane.h;
      renderer.setViewport(pane.x, low, pane.w, pane.h);
      renderer.setScissor(pane.x, low, pane.w, pane.h);
      const aspect = pane.w / pane.h;
      camera.left = -state.reach * aspect;
      camera.right = state.reach * aspect;
      camera.top = state.reach;
      camera.bottom = -state.reach;
      camera.updateProjectionMatrix();
      renderer.clear();
      renderer.render(scenes[number], camera);
    });
  };
  let turned = false;
  const look = (name) => {
    turned = false;
    const ways = { above: [0, -0.001, 1], front: [0, -1, 0], side: [1, 0, 0],
      corner: [-0.55, -0.75, 0.6] };
    const middle = whole.getCenter(new THREE.Vector3());
    if (name !== "fit") {
      state.way = new THREE.Vector3(...ways[name]).normalize();
    } else {
      state.way = camera.position.clone().sub(controls.target).normalize();
    }
    const far = Math.max(whole.getSize(new THREE.Vector3()).length(), 1);
    camera.position.copy(middle).addScaledVector(state.way, far * 2);
    controls.target.copy(middle);
    camera.zoom = 1;
    camera.lookAt(middle);
    camera.updateMatrixWorld();
    // Everything as the camera sees it: the middle of that, and how far it reaches.
    const right = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 0);
    const up = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 1);
    const low = [Infinity, Infinity], high = [-Infinity, -Infinity];
    const point = new THREE.Vector3();
    for (const option of options) {
      const position = option.mesh.geometry.getAttribute("position");
      for (let i = 0; i < position.count; i += 1) {
        point.fromBufferAttribute(position, i).sub(middle);
        [point.dot(right), point.dot(up)].forEach((at, axis) => {
          low[axis] = Math.min(low[axis], at);
          high[axis] = Math.max(high[axis], at);
        });
      }
    }
    const shift = right.multiplyScalar((low[0] + high[0]) / 2)
      .add(up.multiplyScalar((low[1] + high[1]) / 2));
    camera.position.add(shift);
    controls.target.add(shift);
    const wide = (high[0] - low[0]) / 2, tall = (high[1] - low[1]) / 2;
    const head = 46; // pixels of the words above each layout
    // Beside each other or above each other: whichever shows them larger.
    const sizeWith = (across) => {
      state.across = across;
      const one = panes()[0];
      return Math.min(one.w / Math.max(wide, 0.1),
        Math.max(one.h - head, 40) / Math.max(tall, 0.1));
    };
    state.across = sizeWith(1) > sizeWith(options.length) ? 1 : options.length;
    const pane = panes()[0];
    state.reach = 1.08 * Math.max(0.1, tall * pane.h / Math.max(pane.h - head, 40),
      wide * pane.h / pane.w);
    const lower = up.normalize().multiplyScalar(state.reach * head / pane.h);
    camera.position.add(lower);
    controls.target.add(lower);
    camera.near = -far * 4;
    camera.far = far * 8;
    controls.update();
    heads();
    draw();
  };
  controls.addEventListener("change", draw);
  controls.addEventListener("start", () => { moving = true; turned = true; });
  controls.addEventListener("end", () => { moving = false; draw(); });
  // A view that nobody has turned fits the window again when that is resized.
  new ResizeObserver(() => {
    if (turned) { heads(); draw(); } else { look("fit"); }
  }).observe(canvas);

  const heads = () => {
    $("heads").replaceChildren(...panes().map((pane, number) => {
      const option = options[number];
      const head = make("div");
      head.style.left = `${pane.x}px`;
      head.style.top = `${pane.y + 8}px`;
      head.style.maxWidth = `${pane.w}px`;
      const spare = option.available === null ? null : option.available - option.required;
      const words = [`${shown("pressure", option.fitting_loss)} of it in fittings`];
      if (spare !== null) words.push(spare >= 0
        ? `${shown("pressure", spare)} to spare`
        : `${shown("pressure", -spare)} more than the fan leaves`);
      if (option.clearance !== null) words.push(`${shown("gap", option.clearance)} clear`);
      if (option.faults.length) words.push("cannot be built as drawn");
      head.append(
        make("b", `${option.name}: ${shown("pressure", option.critical_loss)} to ${option.critical_terminal}`),
        make("span", words.join(" · ")));
      return head;
    }));
  };

  // --- picking

  const caster = new THREE.Raycaster();
  const under = (event) => {
    const box = canvas.getBoundingClientRect();
    const x = event.clientX - box.left, y = event.clientY - box.top;
    const number = panes().findIndex(
      (p) => x >= p.x && x < p.x + p.w && y >= p.y && y < p.y + p.h);
    if (number < 0) return null;
    const pane = panes()[number];
    caster.setFromCamera(new THREE.Vector2(
      2 * (x - pane.x) / pane.w - 1, 1 - 2 * (y - pane.y) / pane.h), camera);
    const inside = (point) => renderer.clippingPlanes.every(
      (plane) => plane.distanceToPoint(point) >= 0);
    const hit = caster.intersectObject(options[number].mesh, false)
      .find((one) => inside(one.point));
    if (!hit) return null;
    const owners = options[number].shownOwners || options[number].owners;
    return { option: number, row: owners[hit.faceIndex] };
  };
  let hovering = false;
  canvas.addEventListener("pointermove", (event) => {
    if (event.buttons || hovering) { $("tip").textContent = ""; return; }
    hovering = true;
    requestAnimationFrame(() => {
      hovering = false;
      const found = under(event);
      const tip = $("tip");
      canvas.style.cursor = found ? "pointer" : "";
      if (!found) { tip.textContent = ""; return; }
      const element = options[found.option].elements[found.row];
      tip.textContent = `${element.name}: ${element.kind}, ${size(element)}, `
        + `${shown("velocity", element.velocity_m_s)}, ${shown("pressure", element.loss_pa)}`;
      const box = canvas.getBoundingClientRect();
      tip.style.left = `${Math.min(event.clientX - box.left + 14, box.width - 240)}px`;
      tip.style.top = `${event.clientY - box.top + 14}px`;
    });
  });
  canvas.addEventListener("pointerleave", () => { $("tip").textContent = ""; });
  let pressed = null;
  canvas.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
  canvas.addEventListener("pointerup", (event) => {
    if (!pressed || Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) > 4) return;
    const found = under(event);
    if (found) choose(found.option, found.row);
  });

  // --- one element

  const choose = (number, row) => {
    state.chosen = { option: number, row };
    if (state.option !== number) {
      state.option = number;
      $("which").value = String(number);
      table();
    }
    detail();
    if (![...$("rows").children].some((line) => Number(line.dataset.row) === row)) table();
    for (const line of $("rows").children) {
      const mine = Number(line.dataset.row) === row;
      line.setAttribute("aria-selected", String(mine));
      if (mine) line.scrollIntoView({ block: "nearest" });
    }
    paint();
  };
  const detail = () => {
    const place = $("detail");
    if (!state.chosen) return;
    const option = options[state.chosen.option];
    const e = option.elements[state.chosen.row];
    place.replaceChildren(make("h2", `${e.id}  ${e.name}`));
    let formula;
    if (e.coefficient !== null) {
      formula = `loss = C × K × pv = ${e.coefficient.toFixed(3)} × `
        + `${e.reynolds_factor.toFixed(2)} × ${shown("pressure", e.velocity_pressure_pa)}`
        + ` = ${shown("pressure", e.loss_pa)}`;
    } else if (e.length_m > 0) {
      formula = `loss = friction × length = ${shown("rate", e.loss_pa / e.length_m)} × `
        + `${shown("length", e.length_m)} = ${shown("pressure", e.loss_pa)}`;
    } else {
      formula = `loss as declared = ${shown("pressure", e.loss_pa)}`;
    }
    place.append(make("p", formula, "formula"));
    const facts = make("dl");
    const fact = (name, text) => {
      if (text === undefined || text === null || text === "") return;
      facts.append(make("dt", name), make("dd", text));
    };
    fact("what", e.kind);
    fact("size", size(e));
    fact("airflow", shown("flow", e.flow_m3_s));
    fact("velocity", shown("velocity", e.velocity_m_s));
    fact("likely range", e.loss_band_pa.map((v) => bare("pressure", v)).join(" to ")
      + ` ${unit("pressure").name}`);
    fact("equivalent length", e.equivalent_length_m === null
      ? "" : shown("length", e.equivalent_length_m));
    fact("share of the path", e.share === null ? "" : `${(100 * e.share).toFixed(1)} %`);
    fact("coefficient from", `${e.table}: ${e.source} (${e.confidence})`);
    fact("refers to", e.coefficient === null ? "" : `velocity in the ${e.reference_velocity} duct`);
    fact("rests on", e.basis);
    fact("note", e.notes.join("; "));
    place.append(facts);
    $("remark-on").textContent = `${option.name}, ${e.id} ${e.name}`;
  };

  // --- the table

  const columns = [
    ["id", "piece", (e) => e.id, false],
    ["name", "duct", (e) => e.name, false],
    ["kind", "what", (e) => e.kind, false],
    ["section", "size", (e) => size(e), false],
    ["flow", () => unit("flow").name, (e) => e.flow_m3_s, (e) => bare("flow", e.flow_m3_s)],
    ["velocity", () => unit("velocity").name, (e) => e.velocity_m_s, (e) => bare("velocity", e.velocity_m_s)],
    ["coefficient", "C", (e) => e.coefficient, (e) => e.coefficient === null ? "" : e.coefficient.toFixed(3)],
    ["loss", () => unit("pressure").name, (e) => e.loss_pa, (e) => bare("pressure", e.loss_pa)],
  ];
  const listed = () => {
    const option = options[state.option];
    const column = columns.find((one) => one[0] === state.sort);
    const words = state.find.trim().toLowerCase();
    return option.elements
      .filter((e) => visible(option, e.row))
      .filter((e) => !words || `${e.id} ${e.name} ${e.kind} ${e.section}`.toLowerCase().includes(words))
      .sort((a, b) => {
        const [p, q] = [column[2](a), column[2](b)];
        const order = typeof p === "string"
          ? p.localeCompare(q, "en", { numeric: true })
          : (p === null ? -Infinity : p) - (q === null ? -Infinity : q);
        return (state.rising ? order : -order) || a.row - b.row;
      });
  };
  const MOST_ROWS = 300; // until all are asked for
  const table = () => {
    const option = options[state.option];
    $("heads-row").replaceChildren(...columns.map(([key, name, , number]) => {
      const head = make("th", undefined, number ? "number" : "");
      head.scope = "col";
      head.setAttribute("aria-sort", state.sort !== key ? "none"
        : state.rising ? "ascending" : "descending");
      const text = typeof name === "function" ? name() : name;
      const arrow = state.sort !== key ? "" : state.rising ? " ↑" : " ↓";
      const button = make("button", text + arrow);
      button.type = "button";
      button.addEventListener("click", () => {
        state.rising = state.sort === key ? !state.rising : !number;
        state.sort = key;
        table();
      });
      head.append(button);
      return head;
    }));
    const rows = listed();
    $("caption").textContent = `${option.name}: ${rows.length} of ${option.elements.length} `
      + "pieces, those of the critical path marked";
    const body = document.createDocumentFragment();
    const most = state.every ? rows.length : MOST_ROWS;
    const here = state.chosen && state.chosen.option === state.option
      ? rows.filter((e, place) => place >= most && e.row === state.chosen.row) : [];
    for (const e of [...rows.slice(0, most), ...here]) {
      const line = make("tr", undefined, option.onPath.has(e.row) ? "path" : "");
      line.tabIndex = 0;
      line.dataset.row = String(e.row);
      line.setAttribute("aria-selected", String(Boolean(state.chosen
        && state.chosen.option === state.option && state.chosen.row === e.row)));
      for (const [, , read, number] of columns) {
        line.append(make("td", number ? number(e) : read(e), number ? "number" : ""));
      }
      body.append(line);
    }
    $("rows").replaceChildren(body);
    $("more").hidden = rows.length <= most;
    $("more").textContent = `show all ${rows.length}`;
  };
  $("rows").addEventListener("click", (event) => {
    const line = event.target.closest("tr");
    if (line) choose(state.option, Number(line.dataset.row));
  });
  $("rows").addEventListener("keydown", (event) => {
    const line = event.target.closest("tr");
    if (!line) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      choose(state.option, Number(line.dataset.row));
    }
  });

  // --- remarks

  let remarks = [];
  const pin = () => {
    for (const option of options) option.pins.clear();
    for (const remark of remarks) {
      const option = options.find((o) => o.name === remark.option);
      const element = option && option.elements.find((e) => e.id === remark.element);
      if (!element) continue;
      const at = middleOf(option, element.row);
      if (!at) continue;
      const ball = new THREE.Mesh(new THREE.SphereGeometry(state.reach * 0.018, 16, 12),
        new THREE.MeshBasicMaterial({ color: 0xff2d95, depthTest: false }));
      ball.position.copy(at);
      ball.renderOrder = 9;
      option.pins.add(ball);
    }
    draw();
  };
  const middleOf = (option, row) => {
    const position = option.mesh.geometry.getAttribute("position");
    const sum = new THREE.Vector3();
    let count = 0;
    option.owners.forEach((owner, face) => {
      if (owner !== row) return;
      for (let k = 0; k < 3; k += 1) {
        sum.add(new THREE.Vector3().fromBufferAttribute(position, option.triangles[3 * face + k]));
        count += 1;
      }
    });
    return count ? sum.divideScalar(count) : null;
  };
  const list = () => {
    $("remark-list").replaceChildren(...remarks.map((remark, number) => {
      const item = make("li");
      item.append(make("b", `${remark.option}, ${remark.element} ${remark.name}: `),
        make("span", remark.text));
      const show = make("button", "show");
      show.type = "button";
      show.addEventListener("click", () => {
        const at = options.findIndex((o) => o.name === remark.option);
        const element = at < 0 ? null
          : options[at].elements.find((e) => e.id === remark.element);
        if (element) choose(at, element.row);
      });
      const drop = make("button", "delete");
      drop.type = "button";
      drop.addEventListener("click", () => { remarks.splice(number, 1); list(); });
      item.append(show, drop);
      return item;
    }));
    pin();
  };
  $("remark-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = $("remark").value.trim();
    if (!text || !state.chosen) { $("remark").focus(); return; }
    const option = options[state.chosen.option];
    const element = option.elements[state.chosen.row];
    remarks.push({ option: option.name, element: element.id, name: element.name, text });
    $("remark").value = "";
    list();
  });
  $("save").addEventListener("click", () => {
    const text = JSON.stringify({ schema: "elbowroom.remarks/1", remarks }, null, 1);
    const link = make("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "remarks.json";
    link.click();
    URL.revokeObjectURL(link.href);
  });
  $("load").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    try {
      const content = JSON.parse(await file.text());
      if (content.schema !== "elbowroom.remarks/1" || !Array.isArray(content.remarks)) {
        throw new Error("it holds no remarks of this page");
      }
      const known = new Set(remarks.map((r) => JSON.stringify(r)));
      for (const one of content.remarks.slice(0, 5000)) {
        const clean = {};
        for (const key of ["option", "element", "name", "text"]) {
          clean[key] = String(one[key] ?? "").slice(0, 2000);
        }
        if (!known.has(JSON.stringify(clean))) remarks.push(clean);
      }
      list();
    } catch (problem) {
      $("remark-list").prepend(make("li", `The file cannot be read: ${problem.message}.`));
    }
    event.target.value = "";
  });

  // --- the section box

  const cut = () => {
    renderer.clippingPlanes = [];
    $("cut").hidden = !$("boxed").checked;
    if ($("boxed").checked) {
      for (const [axis, way] of [["x", 1], ["y", 1], ["z", 1]]) {
        const low = Number($(`cut-${axis}-low`).value);
        const high = Number($(`cut-${axis}-high`).value);
        const size = whole.max[axis] - whole.min[axis];
        const normal = new THREE.Vector3();
        normal[axis] = way;
        renderer.clippingPlanes.push(
          new THREE.Plane(normal.clone(), -(whole.min[axis] - 0.5 + (size + 1) * low)),
          new THREE.Plane(normal.clone().negate(), whole.min[axis] - 0.5 + (size + 1) * high));
      }
    }
    draw();
  };
  for (const axis of ["x", "y", "z"]) {
    for (const end of ["low", "high"]) {
      const label = make("label", `${axis} ${end === "low" ? "from" : "to"}`);
      const slider = make("input");
      slider.type = "range";
      slider.id = `cut-${axis}-${end}`;
      slider.min = "0";
      slider.max = "1";
      slider.step = "0.005";
      slider.value = end === "low" ? "0" : "1";
      slider.addEventListener("input", cut);
      label.append(slider);
      $("cut").append(label);
    }
  }

  // --- what stands beside the view

  const notes = () => {
    const option = options[state.option];
    const fill = (id, title, lines) => {
      const place = $(id);
      place.replaceChildren();
      if (!lines.length) return;
      const items = make("ul");
      items.append(...lines.map((line) => make("li", line)));
      place.append(make("h2", title), items);
    };
    fill("room", `Room around the ducts of ${option.name}`, option.gaps.map((gap) =>
      `${gap.duct} beside ${gap.beside}: ` + (gap.distance > 0
        ? `${shown("gap", gap.distance)} apart` : `overlap of ${shown("gap", -gap.distance)}`)
      + (gap.kept ? "" : `, ${shown("gap", gap.required)} to keep`)));
    fill("flags", `What to know of ${option.name}`, [...option.faults, ...option.flags]);
    fill("cautions", "Before anything is built", [data.note, ...data.cautions]);
  };
  const everything = () => { heads(); table(); detail(); notes(); paint(); };

  $("title").textContent = options.length > 1
    ? options.map((o) => o.name).join(" · ") : options[0].name;
  $("verdict").textContent = data.verdict;
  for (const name of Object.keys(data.units)) {
    const choice = make("option", name);
    choice.value = name;
    $("units").append(choice);
  }
  options.forEach((option, number) => {
    const choice = make("option", option.name);
    choice.value = String(number);
    $("which").append(choice);
  });
  $("which-label").hidden = options.length < 2;
  $("mode").addEventListener("change", () => { state.mode = $("mode").value; paint(); });
  $("units").value = state.units;
  $("units").addEventListener("change", () => { state.units = $("units").value; everything(); });
  $("which").addEventListener("change", () => {
    state.option = Number($("which").value);
    table();
    notes();
  });
  $("find").addEventListener("input", () => { state.find = $("find").value; table(); });
  $("more").addEventListener("click", () => { state.every = true; table(); });
  $("critical").addEventListener("change", () => {
    state.critical = $("critical").checked;
    sift();
    table();
  });
  $("solids").addEventListener("change", () => {
    for (const option of options) option.solids.visible = $("solids").checked;
    draw();
  });
  $("boxed").addEventListener("change", cut);
  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => look(button.dataset.view));
  }
  const theme = (name) => {
    document.documentElement.dataset.theme = name;
    $("theme").textContent = name === "dark" ? "light" : "dark";
    for (const option of options) {
      option.edges.material.color.set(name === "dark" ? 0xcfd5dd : 0x30343a);
    }
    draw();
  };
  $("theme").addEventListener("click", () =>
    theme(document.documentElement.dataset.theme === "dark" ? "light" : "dark"));
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, textarea, select")) return;
    const views = { f: "fit", 1: "above", 2: "front", 3: "side", 4: "corner" };
    if (views[event.key]) look(views[event.key]);
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      const rows = listed();
      const here = state.chosen && state.chosen.option === state.option
        ? rows.findIndex((e) => e.row === state.chosen.row) : -1;
      const next = rows[Math.min(Math.max(here + (event.key === "ArrowDown" ? 1 : -1), 0),
        rows.length - 1)];
      if (next) { event.preventDefault(); choose(state.option, next.row); }
    }
  });
  state.reach = 1;
  theme(window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
  look("corner");
  everything();
  window.elbowroom = { // what a test can ask
    frames: () => frames, choose, remarks: () => remarks,
    time: (count) => {
      moving = true;
      const begin = performance.now();
      const pixel = new Uint8Array(4), gl = renderer.getContext();
      for (let i = 0; i < count; i += 1) {
        camera.position.applyAxisAngle(new THREE.Vector3(0, 0, 1), 0.02);
        camera.lookAt(controls.target);
        render();
        gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel);
      }
      moving = false;
      draw();
      return (performance.now() - begin) / count;
    },
  };
})();
