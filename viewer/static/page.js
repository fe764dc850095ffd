"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const options = data.options;
  const state = {
    mode: data.colour_by, units: data.unit_system, critical: false, option: 0, chosen: null,
    sort: "loss", rising: false, find: "", box: null,
  };

  // --- words and numbers

  const unit = (key) => data.units[state.units][key];
  const bare = (key, value) => {
    if (value === null || value === undefined || Number.isNaN(value)) return "–";
    // As `shown_number`, `lengths` and `gaps` of `display.py` have it: in two digits or
    // more, but for the rounding of a sum.
    const number = value * unit(key).per_si + 0, { digits } = unit(key);
    const text = number.toFixed(digits), size = Math.abs(number);
    if (key === "gap" || size < 1e-6 * 10 ** -digits) return text;
    if (key === "length")
      return number.toFixed(Math.max(digits, 1 - Number(size.toExponential(1).split("e")[1])));
    return Number(text) === 0 ? number.toFixed(1 - Math.floor(Math.log10(size))) : text;
  };
  const shown = (key, value) => {
    const text = bare(key, value);
    return text === "–" ? text : `${text} ${unit(key).name}`;
  };
  // Never as nothing, as in the picture.
  const gapWords = (distance) => (distance > 0 && Number(bare("gap", distance)) === 0
    ? `less than ${10 ** -unit("gap").digits} ${unit("gap").name}` : shown("gap", distance));
  const touches = (distance) => Math.abs(distance) <= data.touch;
  // Of two bodies, below zero where they overlap; the words are those of the picture.
  const between = (distance) => (touches(distance) ? "touching" : distance < 0
    ? `overlaps by ${gapWords(-distance)}` : gapWords(distance));
  const measure = (e) => (state.units === "metric" ? e.section : e.inches);
  const size = (e) => measure(e)
    .replace(/ (mm|in)(?= |$)/, "\u00a0$1"); // no line ends between a value and its unit
  // A name may come from others: never as markup, and with its controls escaped, which
  // would turn what stands beside it on a line; as `printable` of `outlet.py` has it.
  const CONTROLS = new RegExp("(?![\\n\\t])"
    + "[\\x00-\\x1f\\x7f-\\x9f\\u061c\\u200e\\u200f\\u2028-\\u202e\\u2066-\\u2069]", "g");
  const printable = (text) => text.replace(CONTROLS,
    (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`);
  // What reads from right to left turns no word or number beside it: a name as a whole,
  // in a sentence each stretch, as `lettering.py` has it.
  const named = (name) => {
    const node = document.createElement("bdi");
    node.textContent = printable(name);
    return node;
  };
  const LEFT = "[\\u0590-\\u08ff\\ufb1d-\\ufdff\\ufe70-\\ufefc]"; // Hebrew, Arabic and others
  const LEFTWARD = new RegExp(
    `(${LEFT}(?:(?:[^\\n\\p{L}]|${LEFT})*${LEFT})?(?:[ _-]?\\d+(?=$|:))?)`, "mu");
  // Words, or a list of words and of names as `named` gives them.
  const write = (node, content) => {
    node.replaceChildren(...[content].flat().flatMap((part) => (typeof part !== "string" ? part
      : part.split(LEFTWARD).map((words, odd) => (odd % 2 ? named(words) : printable(words))))));
  };
  const make = (tag, content, className) => {
    const node = document.createElement(tag);
    if (content !== undefined) write(node, content);
    if (className) node.className = className;
    return node;
  };
  const isTerminal = (element) => element.id.startsWith("terminal-");

  // --- values and colours

  options.forEach((option, number) => {
    option.onPath = new Set(option.critical);
    option.number = number;
    option.elements.forEach((element, row) => {
      element.row = row;
      element.inches = option.sizes_in[row];
      element.speed = option.speeds[row];
      element.c = element.coefficient === null
        ? null : element.coefficient * element.reynolds_factor;
      element.share = option.onPath.has(row)
        ? element.loss_pa / option.critical_loss : null;
      element.perMetre = element.length_m > 0 && element.id.startsWith("duct-")
        ? element.loss_pa / element.length_m : null;
    });
  });
  const first = options[0];
  const compared = options.length > 1 && !data.budget;
  // Pieces are the same where they stand in the same place: `same_as` has the first's.
  const matched = new Set(options.slice(1).flatMap((o) => o.same_as));
  const onlyHere = (option, element) => (option === first
    ? !matched.has(element.row) : option.same_as[element.row] === null);
  if (compared) {
    const differ = make("option", `difference from ${first.name}`);
    differ.value = "difference";
    $("mode").append(differ);
  }
  // The least that is printed of a pressure, Pa: what is below is no difference.
  const resolved = () => 10 ** -unit("pressure").digits / unit("pressure").per_si;
  const value = (option, element) => {
    switch (state.mode) {
      case "loss": return isTerminal(element) ? null : element.loss_pa;
      case "per_metre": return element.perMetre;
      case "velocity": return element.speed;
      case "share": return element.share;
      default: {
        if (onlyHere(option, element)) return null;
        const same = option === first ? element.row : option.same_as[element.row];
        const apart = element.loss_pa - first.elements[same].loss_pa;
        return Math.abs(apart) < resolved() / 2 ? 0 : apart;
      }
    }
  };
  const largestChange = () => Math.max(resolved(), ...options.flatMap(
    (o) => o.elements.map((e) => Math.abs(value(o, e) || 0))));
  const scale = () => {
    if (state.mode !== "difference") return data.scales[state.units][state.mode];
    const perSi = unit("pressure").per_si;
    const largest = largestChange() * perSi;
    const power = 10 ** Math.floor(Math.log10(largest));
    const most = Math.ceil(largest / power - 1e-9) * power; // round, and not below it
    const labels = [-1, -0.5, -0.1, 0.1, 0.5, 1].map((part) => part * most);
    const edges = labels.map((label) => label / perSi);
    const colours = ["#2166ac", "#8fbcdb", "#d9d9d9", "#f1a57c", "#b2182b"];
    return { edges, labels, colours };
  };
  const ONLY_HERE = "#c8b23c";
  const signed = (pressure) =>
    `${pressure < 0 ? "-" : "+"}${shown("pressure", Math.abs(pressure))}`;
  // How the critical path of a layout comes to differ from the first's.
  const apart = (option) => {
    const [mine, theirs] = [named(option.name), named(first.name)];
    let both = 0, here = 0, there = 0;
    const alike = new Set();
    for (const row of option.critical) {
      const same = option.same_as[row];
      if (same !== null && first.onPath.has(same)) {
        alike.add(same);
        both += option.elements[row].loss_pa - first.elements[same].loss_pa;
      } else {
        here += option.elements[row].loss_pa;
      }
    }
    for (const row of first.critical) if (!alike.has(row)) there += first.elements[row].loss_pa;
    return [named(option.name), `: ${signed(option.critical_loss - first.critical_loss)} on `
      + `the critical path: ${signed(both)} in pieces of both, ${signed(here)} in what only `,
    mine, ` has there, ${signed(-there)} of what only `, theirs, " has there"];
  };
  const colourOf = (found, number) => {
    if (number === null || number === undefined || Number.isNaN(number)) return data.no_value;
    let band = 0;
    while (band < found.colours.length - 1 && number >= found.edges[band + 1]) band += 1;
    return found.colours[band];
  };
  const titles = {
    loss: () => `loss of total pressure in each piece, ${unit("pressure").name}`,
    per_metre: () => `friction along the ducts, ${unit("rate").name}; all else in grey`,
    velocity: () => `velocity of the air in each piece, ${unit("velocity").name}`,
    share: () => "share of the critical path's loss; other pieces in grey",
    difference: () => ["loss against ", named(first.name), `, ${unit("pressure").name}`],
  };
  const legend = () => {
    const found = scale();
    write($("legend-title"), titles[state.mode]());
    const mark = state.mode === "share" ? " %" : "";
    $("legend-bands").replaceChildren(...found.labels.map((label, band) => {
      const item = make("li"); // the last edge has no band behind it
      const swatch = make("i");
      if (band < found.colours.length) swatch.style.background = found.colours[band];
      item.append(swatch, make("span", `${Number(label.toPrecision(6))}${mark}`));
      return item;
    }));
    $("legend-more").replaceChildren();
    if (state.mode !== "difference") return;
    const swatch = make("i");
    swatch.style.background = ONLY_HERE;
    $("legend-more").append(swatch, make("span", compared && options.length > 2
      ? ["not in ", named(first.name), ", or in it alone"] : "in this layout only"));
  };

  // --- geometry

  const bytes = (text) => {
    const signs = atob(text), out = new Uint8Array(signs.length);
    for (let place = 0; place < out.length; place += 1) out[place] = signs.charCodeAt(place);
    return out;
  };
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

  // A thin duct is drawn this wide, and without an outline: its colour is seen from afar.
  const THINNEST = 2; // pixels
  const least = { value: 0 }; // half of it, in the scene
  const widened = (material, of) => {
    material.onBeforeCompile = (shader) => {
      shader.uniforms.least = least;
      shader.vertexShader = "attribute vec3 middle; uniform float least;\n"
        + shader.vertexShader.replace("#include <begin_vertex>", `#include <begin_vertex>
          vec3 out_of = position - middle;
          float far = length(out_of);
          ${of}`);
    };
    return material;
  };
  const tubeMesh = (option) => {
    const t = option.tubes;
    const centre = floats(t.centre), across = floats(t.across);
    const upright = floats(t.upright), half = floats(t.half);
    const rounds = [];
    let vertices = 0, faces = 0, ends = 0;
    // The collar of a component steps out from its duct: it needs and shows every ring.
    const isCollar = (tube) => option.elements[t.element[tube]].id.startsWith("component-");
    const ringsOf = (tube) => {
      const first = t.offsets[tube], last = t.offsets[tube + 1] - 1, kept = [];
      for (let ring = first; ring <= last; ring += 1) {
        if (!large || isCollar(tube) || ring === first || ring === last || (ring - first) % 3 === 0) {
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
      ends += (isCollar(tube) ? rings : 2) * (round ? SIDES : 4) + (round ? 0 : 4 * (rings - 1));
    }
    const points = new Float32Array(3 * vertices), normals = new Float32Array(3 * vertices);
    const triangles = new Uint32Array(3 * faces), owners = new Uint32Array(faces);
    const middles = new Float32Array(3 * vertices);
    const outline = new Float32Array(6 * ends), within = new Float32Array(6 * ends);
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
      put(within, stroke, ring, 0, 0);
      put(within, stroke + 3, other, 0, 0);
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
          put(middles, 3 * vertex, ring, 0, 0);
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
      for (const ring of isCollar(tube) ? kept : [first, last]) {
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
    geometry.setAttribute("middle", new THREE.BufferAttribute(middles, 3));
    geometry.setAttribute("normal", new THREE.BufferAttribute(normals, 3));
    geometry.setAttribute("color",
      new THREE.BufferAttribute(new Float32Array(points.length), 3));
    option.centre = centre;
    option.triangles = triangles;
    option.owners = owners;
    geometry.setIndex(new THREE.BufferAttribute(option.triangles.slice(), 1));
    geometry.computeBoundingSphere();
    const mesh = new THREE.Mesh(geometry, widened(
      new THREE.MeshLambertMaterial({ vertexColors: true, side: THREE.DoubleSide }),
      "if (far > 0.0 && far < least) transformed = middle + out_of * least / far;"));
    const lines = new THREE.BufferGeometry();
    lines.setAttribute("position", new THREE.BufferAttribute(outline, 3));
    lines.setAttribute("middle", new THREE.BufferAttribute(within, 3));
    const edges = new THREE.LineSegments(lines, widened(
      new THREE.LineBasicMaterial({ color: 0x30343a, transparent: true, opacity: 0.55 }),
      "if (far < 3.0 * least) transformed = middle;")); // hidden in the duct
    return [mesh, edges];
  };

  const canvas = $("view");
  const sharp = software ? 1 : Math.min(window.devicePixelRatio, 2);
  let moving = false;
  let onScreen = null; // what was shown, while the page is printed
  let renderer = null; // none where the browser has no WebGL: the rest stands without
  try {
    renderer = new THREE.WebGLRenderer(
      { canvas, antialias: !software, alpha: true, preserveDrawingBuffer: true });
    renderer.setPixelRatio(sharp);
  } catch (problem) {
    document.body.classList.add("flat");
    $("stage").append(make("p", "This browser has no WebGL, so the layouts are not "
      + "drawn in 3D; all else is here."));
  }
  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -1000, 1000);
  camera.up.set(0, 0, 1);
  const controls = new THREE.OrbitControls(camera, canvas);
  controls.enableDamping = false;
  const whole = new THREE.Box3();

  const ballOf = (color, order) => { // drawn after all else, so that nothing hides it
    const ball = new THREE.Mesh(new THREE.SphereGeometry(1, 16, 12),
      new THREE.MeshBasicMaterial({ color, depthTest: false, transparent: true }));
    ball.renderOrder = order;
    return ball;
  };
  const scenes = options.map((option) => {
    const scene = new THREE.Scene();
    // What faces the light has the colour of its band, what turns away 0.76 of it: below
    // 0.7 a band comes nearer to its neighbour than to itself.
    const light = new THREE.HemisphereLight(
      0xffffff, new THREE.Color(0.76, 0.76, 0.76), Math.PI);
    light.position.set(0.3, -0.4, 0.85);
    scene.add(light);
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
      geometry.computeBoundingBox();
      const mesh = new THREE.Mesh(geometry, new THREE.MeshBasicMaterial({
        color: 0x8a8f98, transparent: true, opacity: solid.is_duct ? 0.28 : 0.12,
        depthWrite: false, side: THREE.DoubleSide }));
      mesh.userData.isDuct = solid.is_duct;
      const outline = new THREE.BufferGeometry();
      outline.setAttribute("position",
        new THREE.BufferAttribute(floats(solid.outline), 3));
      mesh.add(new THREE.LineSegments(outline, new THREE.LineBasicMaterial(
        { color: 0x8a8f98, transparent: true, opacity: 0.6 })));
      if (solid.is_duct) whole.union(geometry.boundingBox); // a return: all of it is shown
      option.solids.add(mesh);
    }
    for (const gap of option.gaps.filter((g) => !g.kept)) {
      const ball = ballOf(data.alarm, 8);
      ball.position.set(...gap.at);
      ball.userData.duct = gap.duct;
      option.marker.add(ball);
    }
    return scene;
  });

  const paint = (only) => { // everything, or some pieces alone
    const found = scale();
    const colour = new THREE.Color();
    for (const option of options) {
      const attribute = option.mesh.geometry.getAttribute("color");
      const into = attribute.array;
      const chosen = state.chosen && state.chosen.option === option.number
        ? state.chosen.row : -1;
      const rows = only ? only.filter((one) => one.option === option.number)
        .map((one) => one.row) : option.elements.map((_, row) => row);
      if (!rows.length) continue;
      const colours = [];
      for (const row of rows) {
        const element = option.elements[row];
        colour.set(state.mode === "difference" && onlyHere(option, element)
          ? ONLY_HERE : colourOf(found, value(option, element)));
        if (row === chosen) colour.lerp(new THREE.Color(data.chosen), 0.75);
        colours[row] = [colour.r, colour.g, colour.b];
      }
      option.owners.forEach((owner, face) => {
        if (!colours[owner]) return;
        for (let place = 3 * face; place < 3 * face + 3; place += 1) {
          into.set(colours[owner], 3 * option.triangles[place]);
        }
      });
      attribute.needsUpdate = true;
    }
    legend();
    draw();
  };
  const visible = (option, row) => (!state.critical || option.onPath.has(row));
  const seen = (option, duct) => !state.critical || option.critical.some(
    (row) => option.elements[row].name === duct);
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
    requestAnimationFrame(() => {
      waiting = false;
      if (!onScreen) render(); // on paper everything stays as `beforeprint` laid it out
      frames += 1;
    });
  };
  const inside = (point) => renderer.clippingPlanes.every(
    (plane) => plane.distanceToPoint(point) >= 0);
  const panes = () => {
    const foot = $("foot").offsetHeight + 14; // nothing there covers a layout
    const width = canvas.clientWidth, height = canvas.clientHeight - foot;
    const count = options.length;
    const across = state.across || count;
    const down = Math.ceil(count / across);
    return options.map((_, number) => ({
      x: (number % across) * width / across,
      y: Math.floor(number / across) * height / down,
      w: width / across, h: height / down,
    }));
  };
  const pixel = () => 2 * state.reach / camera.zoom / panes()[0].h; // its size there
  const render = () => {
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!renderer || !width || !height) return;
    const hurried = software && moving;
    const ratio = hurried ? 0.4 : onScreen ? 2 : sharp;
    for (const option of options) {
      option.edges.visible = !state.critical && !hurried;
      // Of one size on the screen.
      for (const ball of option.marker.children) {
        ball.scale.setScalar(0.012 * state.reach / camera.zoom);
        ball.visible = seen(option, ball.userData.duct);
      }
      for (const ball of option.pins.children) {
        ball.scale.setScalar(0.018 * state.reach / camera.zoom);
        ball.visible = visible(option, ball.userData.row);
      }
    }
    if (renderer.getPixelRatio() !== ratio) renderer.setPixelRatio(ratio);
    const size = renderer.getSize(new THREE.Vector2());
    if (size.x !== width || size.y !== height) renderer.setSize(width, height, false);
    renderer.setClearColor(0x000000, 0);
    renderer.setScissorTest(false);
    renderer.clear(); // below the panes too, which the legend may have moved
    renderer.setScissorTest(true);
    least.value = 0.5 * THINNEST * pixel();
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
    ends();
  };
  // What is too near at its place, then the names of the ends in the order of their
  // worth: beside the ducts, and none on another. What finds no room is left out, and
  // counted. The rules are those of the picture; while the view turns all go along.
  const MOST_CLASHES = 6; // as in the picture
  const MOST_TRIED = 100; // names in one pane: more of them nobody reads
  const CELL = 3; // pixels of a cell of what is drawn
  const APART = 4; // pixels between labels
  const NARROW = 260; // pixels of a pane that has room for few words
  const WITH_LEADER = 26; // pixels from its point, from which on a label has one
  const REACHES = [6, 14, 22, 34, 48, 66, 90];
  const FURTHER = [120, 160, 210, 270]; // for what is never left out for the ducts' sake
  const MANY = 25; // names in one pane, of more of which each stands close or not at all
  const CLOSE = 34; // pixels
  const MOST_HIDDEN = 0.15; // of a name, more of which on ducts leaves it out
  const clash = (gap) => (touches(gap.distance) ? ["touches ", named(gap.beside)]
    : gap.distance < 0
      ? ["overlaps ", named(gap.beside), ` by ${gapWords(-gap.distance)}`]
      : [`${gapWords(gap.distance)} from `, named(gap.beside)]);
  const tagged = () => options.map((option) => [
    ...option.gaps.filter((gap) => !gap.kept).slice(0, MOST_CLASHES).map((gap) => (
      { text: clash(gap), at: gap.at, is: "clash", stands: () => seen(option, gap.duct) })),
    ...option.ends.map((end) => ({ text: end.name, at: end.at, is: end.is,
      stands: () => !state.critical || end.is !== "terminal" })),
  ].map((tag) => ({ ...tag, at: new THREE.Vector3(...tag.at), node: null, offset: null })));
  let tags = tagged();
  // Made when they are wanted, and measured all at once; a clash, which is never to be
  // left out, on several lines where a pane of that width needs them.
  const written = (some, width) => {
    const fresh = some.filter((tag) => !tag.node || tag.within !== width);
    for (const tag of fresh) {
      tag.node = tag.node || make("span", tag.text, tag.is);
      tag.within = width;
      if (tag.is === "clash") tag.node.style.maxWidth = `${width < NARROW ? 120 : 260}px`;
    }
    for (const tag of fresh) tag.node.style.visibility = "hidden";
    $("ends").append(...fresh.map((tag) => tag.node));
    for (const tag of fresh) [tag.w, tag.h] = [tag.node.offsetWidth, tag.node.offsetHeight];
  };
  const ink = document.createElement("canvas");
  // Sums over corners of the cells where ducts are drawn; solids are seen through.
  const inked = () => {
    const w = Math.ceil(canvas.clientWidth / CELL), h = Math.ceil(canvas.clientHeight / CELL);
    [ink.width, ink.height] = [w, h];
    const paper = ink.getContext("2d", { willReadFrequently: true });
    paper.drawImage(canvas, 0, 0, w, h);
    const part = paper.getImageData(0, 0, w, h).data;
    const sums = new Uint32Array((w + 1) * (h + 1));
    for (let y = 0; y < h; y += 1) {
      for (let x = 0, line = 0; x < w; x += 1) {
        line += part[4 * (y * w + x) + 3] > 200;
        sums[(y + 1) * (w + 1) + x + 1] = sums[y * (w + 1) + x + 1] + line;
      }
    }
    return ([left, top, right, bottom]) => { // pixels of ducts in a box
      const [l, r] = [Math.max(0, Math.floor(left / CELL)), Math.min(w, Math.ceil(right / CELL))];
      const [t, b] = [Math.max(0, Math.floor(top / CELL)), Math.min(h, Math.ceil(bottom / CELL))];
      const at = (x, y) => sums[y * (w + 1) + x];
      return CELL * CELL * (at(r, b) - at(l, b) - at(r, t) + at(l, t));
    };
  };
  const overlap = (a, b, apart) => a[0] < b[2] + apart && b[0] < a[2] + apart
    && a[1] < b[3] + apart && b[1] < a[3] + apart;
  const runsThrough = ([x, y, p, q], box) => { // a segment through a box
    const near = (from, by, low, high) => {
      const ways = [(low - from) / (by || 1e-9), (high - from) / (by || 1e-9)];
      return ways[0] < ways[1] ? ways : ways.reverse();
    };
    const a = near(x, p - x, box[0], box[2]), b = near(y, q - y, box[1], box[3]);
    return Math.max(a[0], b[0], 0) < Math.min(a[1], b[1], 1);
  };
  const crosses = ([a, b, c, d], [p, q, r, s]) => { // segments that meet at an end do not
    const side = (x, y, u, v, m, n) => (u - x) * (n - y) - (v - y) * (m - x);
    return side(a, b, c, d, p, q) * side(a, b, c, d, r, s) < -1e-6
      && side(p, q, r, s, a, b) * side(p, q, r, s, c, d) < -1e-6;
  };
  const within = (box, room) => box[0] > room[0] && box[1] > room[1]
    && box[2] < room[2] && box[3] < room[3];
  // Where a label stands, from its point: the cheapest of the places that are free.
  const placeOf = (tag, room, taken, points, covered) => {
    const { x, y, w, h } = tag;
    let best = null;
    const plain = tag.is === "terminal";
    for (const reach of plain ? REACHES : [...REACHES, ...FURTHER]) {
      if (plain && points.length > MANY && reach > CLOSE) break;
      if (best && best.cost <= reach) break; // further away is never cheaper
      for (let turn = 0; turn < 16; turn += 1) {
        const angle = turn * Math.PI / 8;
        let left = x + Math.cos(angle) * (reach + w / 2) - w / 2;
        if (!plain) left = Math.max(Math.min(left, room[2] - w - 2), room[0] + 2);
        const top = y + Math.sin(angle) * (reach + h / 2) - h / 2;
        const box = [left, top, left + w, top + h];
        if (!within(box, room)) continue;
        const foot = [Math.min(Math.max(x, left), box[2]), Math.min(Math.max(y, top), box[3])];
        const line = [...foot, x, y];
        if (taken.some((one) => overlap(box, one.box, APART) || runsThrough(line, one.box)
          || runsThrough(one.line, box) || crosses(line, one.line))) continue;
        const under = covered(box);
        if (plain && under > MOST_HIDDEN * w * h) continue;
        const met = points.filter((one) => one !== tag && Math.hypot(one.x - x, one.y - y) > 10
          && overlap(box, [one.x - 5, one.y - 5, one.x + 5, one.y + 5], 0)).length;
        const far = Math.hypot(foot[0] - x, foot[1] - y);
        // With a cell around it, as one that a duct fills in part does not count.
        const near = covered([left - CELL, top - CELL, box[2] + CELL, box[3] + CELL]);
        const cost = far + near + 150 * met;
        if (!best || cost < best.cost) best = { cost, box, line, far };
      }
    }
    return best;
  };
  const ends = () => {
    const point = new THREE.Vector3();
    const covered = moving ? null : inked();
    $("leaders").replaceChildren();
    panes().forEach((pane, number) => {
      const head = $("heads").children[number];
      const top = pane.y + 8 + (head ? head.offsetHeight : 36);
      const room = [pane.x, top, pane.x + pane.w, pane.y + pane.h];
      // The camera is that of every pane: all are of one size.
      const here = tags[number].filter((tag) => {
        if (tag.node) tag.node.style.visibility = "hidden";
        if (!tag.stands() || !inside(tag.at)) return false;
        point.copy(tag.at).project(camera);
        tag.x = pane.x + (point.x + 1) * pane.w / 2;
        tag.y = pane.y + (1 - point.y) * pane.h / 2;
        return within([tag.x, tag.y, tag.x, tag.y], room);
      });
      const tried = here.slice(0, MOST_TRIED);
      const taken = [];
      written(tried, Math.round(pane.w));
      for (const tag of tried) {
        const { node, w, h } = tag;
        if (!moving) {
          const found = placeOf(tag, room, taken, tried, covered);
          tag.offset = found && [found.box[0] - tag.x, found.box[1] - tag.y];
          if (found) taken.push(found);
          if (found && (found.far > WITH_LEADER || tag.is === "clash")) lead(found.line, tag.is);
        }
        if (!tag.offset) continue;
        const [x, y] = [tag.x + tag.offset[0], tag.y + tag.offset[1]];
        if (!within([x, y, x + w, y + h], room)) continue;
        node.style.visibility = "";
        node.style.transform = `translate(${Math.round(x)}px, ${Math.round(y)}px)`;
      }
      if (moving || !head) return;
      const left = here.length - taken.length;
      head.lastChild.textContent = left
        ? `${left} more ${left > 1 ? "names" : "name"}${onScreen ? "" : ": come closer"}` : "";
    });
  };
  const lead = ([x1, y1, x2, y2], className) => {
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    for (const [key, number] of Object.entries({ x1, y1, x2, y2 })) line.setAttribute(key, number);
    line.setAttribute("class", className);
    $("leaders").append(line);
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
    // Of a long beam no more than its stretch near the ducts is worth the room.
    const near = whole.clone().expandByScalar(1);
    const hold = (position, isSolid) => {
      for (let i = 0; i < position.count; i += 1) {
        point.fromBufferAttribute(position, i);
        if (isSolid) point.clamp(near.min, near.max);
        point.sub(middle);
        [point.dot(right), point.dot(up)].forEach((at, axis) => {
          low[axis] = Math.min(low[axis], at);
          high[axis] = Math.max(high[axis], at);
        });
      }
    };
    for (const option of options) {
      hold(option.mesh.geometry.getAttribute("position"), false);
    }
    for (const solid of options[0].solids.children) { // the same in every layout
      const box = solid.geometry.boundingBox;
      const position = solid.geometry.getAttribute("position");
      if (solid.userData.isDuct) hold(position, false);
      else if (box.intersectsBox(near)) hold(position, true);
    }
    const shift = right.multiplyScalar((low[0] + high[0]) / 2)
      .addScaledVector(up, (low[1] + high[1]) / 2);
    camera.position.add(shift);
    controls.target.add(shift);
    const wide = (high[0] - low[0]) / 2, tall = (high[1] - low[1]) / 2;
    const HEAD = 46; // pixels of the words above each layout, where these need two lines
    const tallest = () => {
      heads();
      return Math.max(HEAD, ...[...$("heads").children].map((words) => 8 + words.offsetHeight));
    };
    // In the rows that show them largest.
    let largest = 0, best = options.length;
    for (let down = 1; down <= options.length && options.length > 1; down += 1) {
      const across = state.across = Math.ceil(options.length / down);
      const one = panes()[0], head = tallest();
      const size = Math.min(one.w / Math.max(wide, 0.1),
        Math.max(one.h - head, 0) / Math.max(tall, 0.1));
      if (size > 1.02 * largest) [largest, best] = [size, across];
    }
    state.across = best;
    const pane = panes()[0], head = tallest();
    if (!pane.w) return;
    state.reach = 1.08 * Math.max(0.1, tall * pane.h / Math.max(pane.h - head, 40),
      wide * pane.h / pane.w);
    const lower = up.multiplyScalar(state.reach * head / pane.h);
    camera.position.add(lower);
    controls.target.add(lower);
    camera.near = -far * 4;
    camera.far = far * 8;
    controls.update();
    draw();
  };
  controls.addEventListener("change", draw);
  controls.addEventListener("start", () => { moving = true; turned = true; });
  controls.addEventListener("end", () => { moving = false; draw(); });
  // A view that nobody has turned fits the window again when that is resized.
  const refit = () => {
    if (turned) { heads(); draw(); } else look("fit");
  };
  new ResizeObserver(() => {
    if (!onScreen) refit();
  }).observe(canvas);

  const heads = () => {
    $("heads").replaceChildren(...panes().map((pane, number) => {
      const option = options[number];
      const head = make("div");
      if (pane.w) {
        head.style.left = `${pane.x}px`;
        head.style.top = `${pane.y + 8}px`;
        head.style.maxWidth = `${pane.w}px`;
        head.style.maxHeight = `${pane.h}px`;
        if (pane.w < NARROW) head.className = "narrow";
      }
      const spare = option.spare;
      const brief = pane.w && pane.w < NARROW;
      const words = brief ? [] : [`${shown("pressure", option.fitting_loss)} of it in fittings`];
      const back = option.return;
      if (back && !brief) {
        words.push([`return ${shown("pressure", back.loss)} from `, named(back.terminal),
          `, ${shown("pressure", option.critical_loss + back.loss)} in all`]);
      }
      if (spare !== null && !brief) words.push(spare >= 0
        ? `${shown("pressure", spare)} to spare`
        : `${shown("pressure", -spare)} more than the fan leaves`);
      if (option.clearance !== null && !brief) {
        words.push(between(option.clearance) + (option.clearance > data.touch ? " clear" : ""));
      }
      if (option.faults[state.units].length) words.push("cannot be built as drawn");
      if (state.mode === "difference" && number > 0) words.push([
        `${signed(option.critical_loss - first.critical_loss)} against `, named(first.name)]);
      head.append(
        make("b", [named(option.name), `: ${shown("pressure", option.critical_loss)} `
          + `${option.is_return ? "from" : "to"} `, named(option.critical_terminal)]),
        make("span", words.flatMap((part, place) => (place ? [" · ", part] : [part])).flat()),
        make("span")); // the last for names left out
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
    const hit = caster.intersectObject(options[number].mesh, false)
      .find((one) => inside(one.point));
    const row = thinUnder(options[number], hit ? hit.distance : Infinity);
    if (row !== null) return { option: number, row };
    if (!hit) return null;
    const owners = options[number].shownOwners || options[number].owners;
    return { option: number, row: owners[hit.faceIndex] };
  };
  const NEAR = 3; // pixels
  // The piece whose middle the ray of the caster passes by most closely, of those before
  // what it meets at a distance: a thin duct is drawn wider than it is.
  const thinUnder = (option, before) => {
    const { origin, direction } = caster.ray;
    const { offsets, element } = option.tubes, centre = option.centre;
    const right = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 0);
    const up = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 1);
    const point = new THREE.Vector3();
    let best = null, nearest = NEAR * pixel();
    for (let tube = 0; tube + 1 < offsets.length; tube += 1) {
      if (!visible(option, element[tube])) continue;
      let x = 0, y = 0, z = 0;
      for (let ring = offsets[tube]; ring < offsets[tube + 1]; ring += 1) {
        const [a, b, c] = [x, y, z];
        point.fromArray(centre, 3 * ring).sub(origin);
        [x, y, z] = [point.dot(right), point.dot(up), point.dot(direction)];
        if (ring === offsets[tube]) continue;
        const [p, q] = [x - a, y - b];
        const part = Math.min(Math.max(-(a * p + b * q) / (p * p + q * q || 1), 0), 1);
        const away = Math.hypot(a + part * p, b + part * q);
        const deep = c + part * (z - c);
        if (away >= nearest || deep >= before) continue;
        if (!inside(point.copy(origin).addScaledVector(direction, deep))) continue;
        [best, nearest] = [element[tube], away];
      }
    }
    return best;
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
      write(tip, [named(element.name), `: ${element.kind}, ${size(element)}, `
        + `${shown("velocity", element.speed)}, ${shown("pressure", element.loss_pa)}`]);
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
    const changed = [{ option: number, row }, ...[state.chosen || []].flat()];
    [state.chosen] = changed;
    if (state.option !== number) {
      state.option = number;
      $("which").value = String(number);
      table();
    }
    detail();
    if (![...$("rows").children].some((line) => Number(line.dataset.row) === row)) table();
    const line = mark();
    if (line) line.scrollIntoView({ block: "nearest" });
    paint(changed);
  };
  const detail = () => {
    const place = $("detail");
    if (!state.chosen) return;
    const option = options[state.chosen.option];
    const e = option.elements[state.chosen.row];
    place.replaceChildren(make("h2", [`${e.id}  `, named(e.name)]));
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
    fact("velocity", shown("velocity", e.speed));
    const [low, high] = e.loss_band_pa; // the same for what is declared
    fact("likely range", low === high ? ""
      : `${bare("pressure", low)} to ${shown("pressure", high)}`);
    fact("equivalent length", e.equivalent_length_m === null
      ? "" : `${shown("length", e.equivalent_length_m)} at ${shown("rate", option.rate)}`);
    fact("share of the path", e.share === null ? "" : `${(100 * e.share).toFixed(1)} %`);
    fact("coefficient from", `${e.table}: ${e.source} (${e.confidence})`);
    fact("refers to", e.coefficient === null ? ""
      : `the ${e.reference_velocity} velocity, ${shown("velocity", e.velocity_m_s)}`);
    fact("rests on", e.basis);
    fact("note", e.notes.join("; "));
    place.append(facts);
    write($("remark-on"), [named(option.name), `, ${e.id} `, named(e.name)]);
  };

  // --- the table

  const columns = [
    ["id", "piece", (e) => e.id, false],
    ["name", "duct", (e) => e.name, false],
    ["kind", "what", (e) => e.kind, false],
    ["section", "size", (e) => size(e), false],
    ["flow", () => unit("flow").name, (e) => e.flow_m3_s, (e) => bare("flow", e.flow_m3_s)],
    // Of a leg the one that C is on, as in all other tables.
    ["velocity", () => unit("velocity").name, (e) => e.velocity_m_s,
      (e) => bare("velocity", e.velocity_m_s)],
    ["coefficient", "C", (e) => e.c, (e) => e.c === null ? "" : e.c.toFixed(3)],
    ["loss", () => unit("pressure").name, (e) => e.loss_pa, (e) => bare("pressure", e.loss_pa)],
  ];
  const order = new Intl.Collator("en", { numeric: true }).compare;
  let last = { of: "", rows: [] }; // sorted anew only where something has changed
  const listed = () => {
    const { option: number, sort, rising, find, critical, units } = state;
    const of = JSON.stringify([number, sort, rising, find, critical, units]);
    if (last.of !== of) last = { of, rows: sorted() };
    return last.rows;
  };
  const sorted = () => {
    const option = options[state.option];
    const column = columns.find((one) => one[0] === state.sort);
    const words = state.find.trim().toLowerCase();
    return option.elements
      .filter((e) => visible(option, e.row))
      .filter((e) => !words || `${e.id} ${e.name} ${e.kind} ${measure(e)}`.toLowerCase().includes(words))
      .sort((a, b) => {
        const [p, q] = [column[2](a), column[2](b)];
        const after = typeof p === "string" ? order(p, q)
          : (p === null ? -Infinity : p) - (q === null ? -Infinity : q);
        return (state.rising ? after : -after) || a.row - b.row;
      });
  };
  // Marks the row of the chosen piece, and gives it. It, or the first, is the one that
  // the tab key stops at: arrows lead to the others.
  const mark = () => {
    const lines = [...$("rows").children];
    const chosen = state.chosen && state.chosen.option === state.option
      ? lines.find((line) => Number(line.dataset.row) === state.chosen.row) : undefined;
    for (const line of lines) {
      line.tabIndex = line === (chosen || lines[0]) ? 0 : -1;
      if (line === chosen) line.setAttribute("aria-current", "true");
      else line.removeAttribute("aria-current");
    }
    return chosen;
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
      button.id = `sort-${key}`;
      button.addEventListener("click", () => {
        state.rising = state.sort === key ? !state.rising : !number;
        state.sort = key;
        table();
        $(`sort-${key}`).focus(); // the button that was pressed is made anew
      });
      head.append(button);
      return head;
    }));
    const rows = listed();
    const most = state.every || onScreen ? rows.length : MOST_ROWS; // all on paper
    write($("caption"), [named(option.name), `: ${rows.length} of ${option.elements.length} `
      + "pieces, those of the critical path marked",
      // As its columns it is not there on a phone.
      make("span", "; C is on the velocity shown", "of-hidden"),
      rows.length > most ? `; the first ${most} are shown` : ""]);
    const body = document.createDocumentFragment();
    const here = state.chosen && state.chosen.option === state.option
      ? rows.filter((e, place) => place >= most && e.row === state.chosen.row) : [];
    for (const e of [...rows.slice(0, most), ...here]) {
      const line = make("tr", undefined, option.onPath.has(e.row) ? "path" : "");
      line.dataset.row = String(e.row);
      for (const [key, , read, number] of columns) {
        const cell = make("td", number ? number(e) : read(e), number ? "number" : "");
        if (key === "name" && option.onPath.has(e.row)) {
          cell.append(make("span", ", on the critical path", "unseen"));
        }
        line.append(cell);
      }
      body.append(line);
    }
    $("rows").replaceChildren(body);
    mark();
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
  let saved = true;
  const say = (text) => write($("remark-said"), text);
  window.addEventListener("beforeunload", (event) => {
    if (!saved) event.preventDefault();
  });
  // Ids count along the layout: after a change of it the same id may be another piece,
  // so the name must be the same too, or be that of one piece of the kind alone.
  const pieceOf = (remark) => {
    const option = options.find((o) => o.name === remark.option);
    if (!option) return null;
    const named = option.elements.filter((e) => e.name === remark.name
      && e.id.split("-")[0] === remark.element.split("-")[0]);
    const element = named.find((e) => e.id === remark.element)
      || (named.length === 1 ? named[0] : null);
    return element && { option, element };
  };
  const pin = () => {
    if (!renderer) return;
    for (const option of options) option.pins.clear();
    for (const remark of remarks) {
      const found = pieceOf(remark);
      const at = found && middleOf(found.option, found.element.row);
      if (!at) continue;
      const ball = ballOf(data.chosen, 9);
      ball.position.copy(at);
      ball.userData.row = found.element.row;
      found.option.pins.add(ball);
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
      item.append(make("b", [named(remark.option), `, ${remark.element} `, named(remark.name), ": "]),
        make("span", remark.text));
      const found = pieceOf(remark);
      if (found) {
        const show = make("button", "show");
        show.type = "button";
        show.addEventListener("click", () => choose(found.option.number, found.element.row));
        item.append(show);
      } else {
        item.append(make("em", options.some((o) => o.name === remark.option)
          ? " (no such piece in this layout now)" : " (no such layout on this page)"));
      }
      const drop = make("button", "delete");
      drop.type = "button";
      drop.addEventListener("click", () => {
        remarks.splice(number, 1);
        saved = !remarks.length;
        list();
        $("remark").focus(); // this button is gone
      });
      item.append(drop);
      return item;
    }));
    pin();
  };
  $("remark-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = $("remark").value.trim();
    if (!state.chosen) {
      say("Choose a piece first: click it in the view or in the table.");
      return;
    }
    if (!text) {
      say("Write the remark first.");
      $("remark").focus();
      return;
    }
    say("");
    const option = options[state.chosen.option];
    const element = option.elements[state.chosen.row];
    remarks.push({ option: option.name, element: element.id, name: element.name, text });
    $("remark").value = "";
    saved = false;
    list();
  });
  $("save").addEventListener("click", () => {
    const text = JSON.stringify({ schema: "elbowroom.remarks/1", remarks }, null, 1);
    const link = make("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "remarks.json";
    link.click();
    URL.revokeObjectURL(link.href);
    saved = true;
  });
  $("load").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    event.target.value = "";
    let content = null;
    try { content = JSON.parse(await file.text()); } catch { /* said below */ }
    const keys = ["option", "element", "name", "text"];
    if (!content || content.schema !== "elbowroom.remarks/1"
      || !Array.isArray(content.remarks)
      || !content.remarks.every((one) => one && keys.every((key) => typeof one[key] === "string"))) {
      say(`'${file.name}' cannot be read: it holds no remarks of a review page; choose `
        + "the file that such a page saved.");
      return;
    }
    const known = new Set(remarks.map((r) => JSON.stringify(r)));
    const before = remarks.length;
    for (const one of content.remarks) {
      const clean = Object.fromEntries(keys.map((key) => [key, one[key]]));
      if (!known.has(JSON.stringify(clean))) remarks.push(clean);
    }
    const astray = remarks.slice(before).filter((one) => !pieceOf(one)).length;
    say(`${remarks.length - before} loaded from '${file.name}'`
      + (astray ? `, ${astray} of them on no piece of these layouts as they are now.` : "."));
    list();
  });

  // --- the section box

  // At its widest the box holds all that is drawn, also solids far from the ducts.
  const held = whole.clone();
  for (const option of options) {
    for (const solid of option.solids.children) held.union(solid.geometry.boundingBox);
  }
  const cut = () => {
    if (!renderer) return;
    renderer.clippingPlanes = [];
    $("cut").hidden = !$("boxed").checked;
    ["x", "y", "z"].forEach((axis, number) => {
      const [low, high] = ["low", "high"].map((end) => {
        const slider = $(`cut-${axis}-${end}`);
        const at = held.min[axis] - 0.5
          + (held.max[axis] - held.min[axis] + 1) * Number(slider.value);
        const text = shown("length", at + data.origin[number]); // as in the drawing
        slider.nextSibling.textContent = text;
        slider.setAttribute("aria-valuetext", text);
        return at;
      });
      if (!$("boxed").checked) return;
      const normal = new THREE.Vector3();
      normal[axis] = 1;
      renderer.clippingPlanes.push(new THREE.Plane(normal.clone(), -low),
        new THREE.Plane(normal.clone().negate(), high));
    });
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
      slider.step = "0.002";
      slider.value = end === "low" ? "0" : "1";
      slider.addEventListener("input", cut);
      label.append(slider, make("output"));
      $("cut").append(label);
    }
  }

  // --- what stands beside the view

  const MOST_LINES = 8; // of a list, until the rest is asked for
  const notes = () => {
    const option = options[state.option];
    const items = (lines) => {
      const part = make("ul");
      part.append(...lines.map((line) => make("li", line)));
      return part;
    };
    const sums = (pairs) => {
      const part = make("dl");
      for (const [words, text] of pairs) part.append(make("dt", words), make("dd", text));
      return part;
    };
    const fill = (id, title, lines, ...before) => {
      const place = $(id);
      place.replaceChildren();
      if (!lines.length && !before.length) return;
      place.append(make("h2", title), ...before, items(lines.slice(0, MOST_LINES)));
      if (lines.length <= MOST_LINES) return;
      const rest = make("details");
      rest.append(make("summary", `${lines.length - MOST_LINES} more of ${lines.length}`),
        items(lines.slice(MOST_LINES)));
      place.append(rest);
    };
    fill("system", ["What ", named(option.name), " was worked out with"], [],
      sums(option.system[state.units]));
    if (option.budget) {
      const way = option.is_return ? "from" : "to";
      fill("spends", ["Pressure budget of ", named(option.name), `, critical path ${way} `,
        named(option.critical_terminal), `, ${unit("pressure").name}`], [],
      sums(option.budget[state.units]));
    }
    if (compared) fill("apart", ["Against ", named(first.name)], options.slice(1).map(apart));
    if (data.budget) {
      fill("budget", `Budget of supply and return, ${unit("pressure").name}`,
        data.budget.flags, sums(data.budget.lines[state.units]));
    }
    fill("room", ["Room around the ducts of ", named(option.name)], option.gaps.map((gap) => [
      named(gap.duct), " beside ", named(gap.beside), `: ${between(gap.distance)}`
      + (gap.kept ? "" : `, ${shown("gap", gap.required)} to keep`)]));
    fill("faults", ["Why ", named(option.name), " cannot be built as drawn"],
      option.faults[state.units]);
    fill("pairs", ["Elbows close together in ", named(option.name)], option.pairs[state.units]);
    fill("flags", ["What to know of ", named(option.name)], option.flags);
    fill("cautions", "Before anything is built", [data.note, ...data.cautions]);
  };
  const everything = () => {
    $("ends").replaceChildren();
    tags = tagged(); // clashes are in the units shown
    write($("verdict"), (data.verdicts[state.units] || "").replaceAll(" %", "\u00a0%"));
    heads();
    table();
    detail();
    notes();
    cut();
    paint();
  };

  write($("title"), options.flatMap((o) => [" · ", named(o.name)]).slice(1));
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
  $("stage").classList.toggle("several", options.length > 2);
  $("which-label").hidden = options.length < 2;
  $("mode").value = state.mode;
  $("mode").addEventListener("change", () => {
    state.mode = $("mode").value;
    paint();
    refit(); // the legend may be taller now
  });
  $("units").value = state.units;
  $("units").addEventListener("change", () => { state.units = $("units").value; everything(); });
  $("which").addEventListener("change", () => {
    state.option = Number($("which").value);
    table();
    notes();
  });
  $("find").addEventListener("input", () => { state.find = $("find").value; table(); });
  $("more").addEventListener("click", () => {
    state.every = true;
    table();
    $("rows").children[MOST_ROWS].focus(); // the button is gone
  });
  $("critical").addEventListener("change", () => {
    state.critical = $("critical").checked;
    sift();
    table();
  });
  $("solids").addEventListener("change", () => {
    for (const option of options) option.solids.visible = $("solids").checked;
    draw();
  });
  $("boxed").addEventListener("change", () => { cut(); refit(); });
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
  // Keys act where the view or the table has the focus, and elsewhere the page scrolls.
  const step = (way) => {
    const rows = listed();
    const here = state.chosen && state.chosen.option === state.option
      ? rows.findIndex((e) => e.row === state.chosen.row) : -1;
    const next = rows[Math.min(Math.max(here + way, 0), rows.length - 1)];
    if (next) choose(state.option, next.row);
    return next;
  };
  const turn = (right, up) => { // the camera about what it looks at, the vertical kept
    const from = camera.position.clone().sub(controls.target);
    const far = from.length();
    const round = Math.atan2(from.y, from.x) + right;
    const down = Math.min(Math.max(Math.acos(from.z / far) + up, 0.001), Math.PI - 0.001);
    camera.position.copy(controls.target).add(new THREE.Vector3(
      far * Math.sin(down) * Math.cos(round), far * Math.sin(down) * Math.sin(round),
      far * Math.cos(down)));
  };
  const move = (right, up) => {
    const way = new THREE.Vector3(right, up, 0).multiplyScalar(0.1 * state.reach / camera.zoom)
      .applyQuaternion(camera.quaternion);
    camera.position.add(way);
    controls.target.add(way);
  };
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const views = { f: "fit", 1: "above", 2: "front", 3: "side", 4: "corner" };
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const arrow = arrows[event.key];
    const larger = { "+": 1.2, "=": 1.2, "-": 1 / 1.2 }[event.key];
    if (views[event.key]) look(views[event.key]);
    else if (event.key === "n" || event.key === "p") step(event.key === "n" ? 1 : -1);
    else if (arrow || larger) {
      turned = true;
      if (larger) camera.zoom *= larger;
      else if (event.shiftKey) move(...arrow);
      else turn(-0.1 * arrow[0], -0.1 * arrow[1]);
      controls.update();
      draw();
    } else return;
    event.preventDefault();
  });
  $("rows").addEventListener("keydown", (event) => {
    const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!way || !step(way)) return;
    event.preventDefault();
    const line = $("rows").querySelector("[aria-current]");
    if (line) line.focus({ preventScroll: true });
  });
  // On paper the view has a size of its own, the colours are the light ones, and every
  // layout has its table and notes.
  window.addEventListener("beforeprint", () => {
    if (onScreen) return;
    onScreen = { option: state.option, theme: document.documentElement.dataset.theme };
    document.body.classList.add("printing");
    theme("light");
    if (turned) heads(); else look("fit");
    render();
    if (renderer) { // paper shows a WebGL canvas as it last came to the screen: a copy
      const copy = make("canvas");
      [copy.width, copy.height] = [canvas.width, canvas.height];
      copy.getContext("2d").drawImage(canvas, 0, 0);
      copy.style.width = `${canvas.clientWidth}px`;
      copy.style.height = `${canvas.clientHeight}px`;
      canvas.before(copy);
    }
    options.forEach((_, number) => {
      state.option = number;
      table();
      notes();
      for (const id of ["system", "spends", "table", "faults", "pairs", "room", "flags"]) {
        const copy = $(id).cloneNode(true);
        copy.removeAttribute("id");
        for (const part of copy.querySelectorAll("[id]")) part.removeAttribute("id");
        for (const part of copy.querySelectorAll("details")) part.open = true;
        for (const part of copy.querySelectorAll("th button")) part.replaceWith(part.textContent);
        $("printed").append(copy);
      }
    });
  });
  window.addEventListener("afterprint", () => {
    if (!onScreen) return;
    $("printed").replaceChildren();
    if (renderer) canvas.previousElementSibling.remove();
    document.body.classList.remove("printing");
    state.option = onScreen.option;
    theme(onScreen.theme);
    onScreen = null;
    table();
    notes();
    refit();
  });
  state.reach = 1;
  legend();
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
