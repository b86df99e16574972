// The rover as it moves: from the side on its own ground, to scale, and from above with its way.

const WIDTH = 480; // of a view, in its own units
const LANE = 62; // for words above the wheels

/** Fills for the conditions: colour and hatch, so that grey print and every eye tell them apart. */
function hatches(conditions) {
  const marks = {
    gripping: [],
    slipping: [["path", { d: "M-1,7 L7,-1 M-1,1 L1,-1 M5,7 L7,5" }]],
    airborne: [["circle", { cx: 1.5, cy: 1.5, r: 0.9 }], ["circle", { cx: 4.5, cy: 4.5, r: 0.9 }]],
    stalled: [],
    out_of_step: [["path", { d: "M0,0 L6,6 M0,6 L6,0" }]],
    dragged: [["path", { d: "M0,1.5 H6 M0,4.5 H6" }]],
  };
  const patterns = conditions.map((condition) => {
    const lines = (marks[condition.name] ?? []).map(([name, attributes]) => draw(name, name === "circle"
      ? { ...attributes, fill: condition.ink } : { ...attributes, stroke: condition.ink, "stroke-width": 1, fill: "none" }));
    return draw("pattern", { id: `c-${condition.name}`, width: 6, height: 6, patternUnits: "userSpaceOnUse" },
      draw("rect", { width: 6, height: 6, fill: condition.colour }), ...lines);
  });
  const other = draw("pattern", { id: "other-ground", width: 8, height: 8, patternUnits: "userSpaceOnUse" },
    draw("path", { d: "M0,8 L8,0", stroke: "#4d4d4d", "stroke-width": 0.8 }));
  return draw("svg", { width: 0, height: 0, "aria-hidden": "true", class: "hatches" }, draw("defs", {}, ...patterns, other));
}

/** An arrow with its tip, or nothing where it would be too short to see. */
function pointed(x0, y0, x1, y1) {
  const length = Math.hypot(x1 - x0, y1 - y0);
  if (!(length > 2)) return "";
  const u = (x1 - x0) / length, v = (y1 - y0) / length, tip = Math.min(6, length * 0.6);
  const side = (sign) => `${x1 - tip * u + sign * tip * 0.45 * v},${y1 - tip * v - sign * tip * 0.45 * u}`;
  return `M${x0},${y0} L${x1},${y1} M${side(1)} L${x1},${y1} L${side(-1)}`;
}

/** What a wheel does at a moment, in numbers. */
function wheelState(run, time, wheel) {
  const row = run.row(time), value = (name) => run.at(name, row, wheel);
  return {
    code: run.conditionOf(row, wheel), load: value("normal_load"), force: value("drive_force"), side: value("side_force"),
    use: value("traction_use"), speed: value("wheel_speed"), wanted: value("commanded_speed"), normal: value("normal_x"),
    current: Math.hypot(value("current_d"), value("current_q")), warmth: value("winding_temperature"),
  };
}

class SideView {
  constructor(run, group, conditions) {
    Object.assign(this, { run, group, conditions });
    const places = group.wheels.map((wheel) => run.wheels[wheel].at[0]);
    this.radius = Math.max(...group.wheels.map((wheel) => run.wheels[wheel].radius));
    const across = Math.max(...places) - Math.min(...places) + 7 * this.radius;
    this.scale = WIDTH / across;
    this.height = LANE + this.scale * this.radius * 4.2;
    this.ground = draw("path", { class: "earth" });
    this.frame = draw("path", { class: "frame" });
    this.parts = group.wheels.map((wheel) => this.wheelParts(wheel));
    this.where = draw("text", { x: WIDTH - 6, y: this.height - 6, "text-anchor": "end", class: "tick" });
    this.picture = draw("svg", { viewBox: `0 0 ${WIDTH} ${this.height}`, role: "img", "aria-label": `${run.title}, ${group.word} from the side` },
      draw("rect", { width: WIDTH, height: this.height, class: "air" }), this.ground, this.frame,
      ...this.parts.flatMap((part) => part.all), this.where, ...this.ruler());
    this.figure = make("figure", {}, make("figcaption", {}, `${group.word}, from the side, to scale`), this.picture);
  }

  wheelParts(wheel) {
    const size = this.run.wheels[wheel].radius * this.scale;
    const disc = draw("circle", { r: size, class: "tyre" });
    const spokes = draw("path", { d: [0, 60, 120].map((angle) => {
      const x = size * Math.cos((angle * Math.PI) / 180), y = size * Math.sin((angle * Math.PI) / 180);
      return `M${-x},${-y} L${x},${y}`;
    }).join(" "), class: "spokes" });
    const hub = draw("circle", { r: size * 0.22, class: "hub" });
    const body = draw("g", {}, disc, spokes, hub);
    const load = draw("path", { class: "load" }), push = draw("path", { class: "push" });
    const lines = [0, 1].map((line) => draw("text", { "text-anchor": "middle", class: line ? "word" : "word strong" }));
    const used = draw("rect", { height: 7, class: "used" }), limit = draw("rect", { height: 7, width: 60, class: "limit" });
    return { wheel, disc, spokes, body, load, push, lines, used, limit, all: [body, load, push, used, limit, ...lines] };
  }

  ruler() {
    const length = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1].find((metres) => metres * this.scale > 60) ?? 1;
    const end = 8 + length * this.scale, y = this.height - 8;
    return [draw("path", { d: `M8,${y - 4} V${y} H${end} V${y - 4}`, class: "ruler" }),
      draw("text", { x: end + 5, y: y + 1, class: "tick" }, `${(length * 1000).toFixed(0)} mm`)];
  }

  show(time) {
    const { run, scale } = this, at = Math.min(time, run.end);
    const yaw = run.between("yaw", at, 0, true), c = Math.cos(yaw), s = Math.sin(yaw);
    const hubs = this.group.wheels.map((wheel) => {
      const x = run.between("hub_x", at, wheel), y = run.between("hub_y", at, wheel);
      return { along: x * c + y * s, left: y * c - x * s, z: run.between("hub_z", at, wheel) };
    });
    const mean = (name) => hubs.reduce((sum, hub) => sum + hub[name], 0) / hubs.length;
    const [along, left, z] = [mean("along"), mean("left"), mean("z")];
    if (![along, left, z].every(Number.isFinite)) return;
    const floor = LANE + scale * this.radius * 1.5;
    const toX = (place) => WIDTH / 2 + (place - along) * scale, toY = (height) => floor - (height - z) * scale;
    let earth = `M0,${this.height}`;
    for (let x = 0; x <= WIDTH; x += 3) {
      const place = along + (x - WIDTH / 2) / scale;
      earth += ` L${x},${toY(run.ground.height(place * c - left * s, place * s + left * c)).toFixed(1)}`;
    }
    this.ground.setAttribute("d", `${earth} L${WIDTH},${this.height} Z`);
    const ordered = hubs.map((hub) => [toX(hub.along), toY(hub.z)]).sort((a, b) => a[0] - b[0]);
    this.frame.setAttribute("d", `M${ordered.map((point) => point.join(",")).join(" L")}`);
    this.parts.forEach((part, index) => this.showWheel(part, toX(hubs[index].along), toY(hubs[index].z), at, index));
    this.where.textContent = `x = ${shown(run.between("x", at))} m, pitch ${shown((run.between("pitch", at) * 180) / Math.PI)}°`;
  }

  showWheel(part, x, y, time, index) {
    const { run, scale } = this, state = wheelState(run, time, part.wheel), look = this.conditions[state.code];
    const size = run.wheels[part.wheel].radius * scale, up = Math.sqrt(Math.max(1 - state.normal ** 2, 0));
    part.body.setAttribute("transform", `translate(${x},${y})`);
    part.disc.setAttribute("fill", `url(#c-${look.name})`);
    part.spokes.setAttribute("transform", `rotate(${((run.between("turned", time, part.wheel) * 180) / Math.PI) % 360})`);
    const footX = x - state.normal * size, footY = y + up * size;
    const unit = (size * 0.9) / run.even_load, load = Math.min(state.load * unit, 2.2 * size);
    part.load.setAttribute("d", state.load > 0 ? pointed(footX - state.normal * load, footY + up * load, footX, footY) : "");
    const push = clamped(state.force * unit * 2, -2.2 * size, 2.2 * size);
    part.push.setAttribute("d", pointed(footX, footY, footX + up * push, footY + state.normal * push));
    const top = 4 + (this.parts.length > 3 && index % 2 ? 30 : 0);
    part.lines[0].textContent = `${run.wheels[part.wheel].word}: ${look.word}`;
    part.lines[1].textContent = `load ${shown(state.load)} N, push ${shown(state.force)} N`;
    part.lines.forEach((line, number) => { line.setAttribute("x", x); line.setAttribute("y", top + 12 + 14 * number); });
    const use = Number.isNaN(state.use) ? 0 : state.use;
    for (const bar of [part.used, part.limit]) { bar.setAttribute("x", x - 30); bar.setAttribute("y", top + 32); }
    part.used.setAttribute("width", 60 * use);
  }
}

/** Lowest and highest place of all hubs of ``runs`` along one axis [m], with some room. */
function bounds(runs, name) {
  let low = Infinity, high = -Infinity;
  for (const run of runs) {
    for (const place of run.channels.get(name)) {
      if (place < low) low = place;
      if (place > high) high = place;
    }
  }
  return [low - reach(runs[0]) / 2, high + reach(runs[0]) / 2];
}

/** How far a run's wheels reach from the middle of its rover [m]. */
const reach = (run) => Math.max(...run.wheels.map((wheel) => Math.hypot(...wheel.at) + wheel.radius)) * 1.15;

class TopView {
  /** ``together``: the runs whose ways must find room, so that views of one ground show the same part of it. */
  constructor(run, together) {
    this.run = run;
    [this.x0, this.x1] = bounds(together, "hub_x");
    [this.y0, this.y1] = bounds(together, "hub_y");
    this.reach = reach(run);
    this.close = false;
    this.scale = Math.min(WIDTH / (this.x1 - this.x0), 300 / (this.y1 - this.y0));
    this.wide = (this.x1 - this.x0) * this.scale;
    this.high = (this.y1 - this.y0) * this.scale;
    this.rover = draw("g", {});
    this.frame = draw("path", { class: "outline" });
    this.parts = run.wheels.map((wheel) => this.wheelParts(wheel));
    this.rover.append(this.frame, ...this.parts.flatMap((part) => [part.tyre, part.push]));
    this.picture = draw("svg", { role: "img", "aria-label": `${run.title} from above, with the way of each wheel` },
      this.shade(), ...this.patches(), ...this.tracks(), this.rover);
    const box = make("input", { type: "checkbox" });
    box.addEventListener("change", () => { this.close = box.checked; this.show(this.last ?? 0); });
    this.figure = make("figure", {}, make("figcaption", {}, "from above, to scale ", make("label", {}, box, "close-up")), this.picture, this.note());
    this.frameView();
  }

  toX(x) { return (x - this.x0) * this.scale; }
  toY(y) { return (this.y1 - y) * this.scale; }

  note() {
    const { low, high } = this.run.ground;
    const relief = high - low > 1e-3 ? ` Ground from ${shown(low * 1000)} mm (darker) to ${shown(high * 1000)} mm (lighter).` : "";
    const size = ([a, b]) => `${shown(b - a)} m`;
    return make("p", { class: "hint" }, `Shown: ${size([this.x0, this.x1])} along x (to the right), ${size([this.y0, this.y1])} along y (up).${relief}`);
  }

  /** The ground as a picture of grey values, lighter where it is higher. */
  shade() {
    const { nx, ny, z, low, high, x0, y0, dx, dy } = this.run.ground;
    const canvas = make("canvas", { width: nx, height: ny }), context = canvas.getContext("2d");
    const image = context.createImageData(nx, ny), span = Math.max(high - low, 0.004);
    for (let i = 0; i < nx; i++) {
      for (let j = 0; j < ny; j++) {
        const grey = 186 + (58 * (z[i * ny + j] - low)) / span;
        image.data.set([grey, grey, grey, 255], 4 * ((ny - 1 - j) * nx + i));
      }
    }
    context.putImageData(image, 0, 0);
    return draw("image", { href: canvas.toDataURL(), x: this.toX(x0 - dx / 2), y: this.toY(y0 + (ny - 0.5) * dy),
      width: nx * dx * this.scale, height: ny * dy * this.scale, preserveAspectRatio: "none" });
  }

  patches() {
    return this.run.ground.patches.map((patch) => {
      const box = draw("rect", { x: this.toX(patch.x[0]), y: this.toY(patch.y[1]), class: "patch", fill: "url(#other-ground)",
        width: (patch.x[1] - patch.x[0]) * this.scale, height: (patch.y[1] - patch.y[0]) * this.scale });
      box.append(draw("title", {}, patch.word));
      return box;
    });
  }

  tracks() {
    const { run } = this;
    return run.wheels.map((wheel, index) => {
      let path = "";
      for (let row = 0; row < run.time.length; row++) {
        const x = this.toX(run.at("hub_x", row, index)), y = this.toY(run.at("hub_y", row, index));
        if (Number.isFinite(x) && Number.isFinite(y)) path += `${path ? "L" : "M"}${x.toFixed(1)},${y.toFixed(1)}`;
      }
      return draw("path", { d: path, class: "track", stroke: wheel.colour, "stroke-dasharray": wheel.dash.join(" ") || "none" });
    });
  }

  wheelParts(wheel) {
    const long = wheel.radius * 2 * this.scale, wide = long * 0.45;
    const tyre = draw("rect", { width: long, height: wide, x: -long / 2, y: -wide / 2, class: "tyre" });
    tyre.append(draw("title", {}, wheel.word));
    return { tyre, push: draw("path", { class: "push" }) };
  }

  frameView(x = 0, y = 0) {
    const half = this.reach * 1.6 * this.scale;
    const box = this.close ? [x - half, y - half * 0.6, 2 * half, 1.2 * half] : [0, 0, this.wide, this.high];
    this.picture.setAttribute("viewBox", box.map((number) => number.toFixed(2)).join(" "));
  }

  show(time) {
    const { run } = this, at = Math.min(time, run.end), yaw = run.between("yaw", at, 0, true);
    this.last = time;
    const middle = [0, 0], corners = [];
    run.wheels.forEach((wheel, index) => {
      const x = this.toX(run.between("hub_x", at, index)), y = this.toY(run.between("hub_y", at, index));
      if (!Number.isFinite(x) || !Number.isFinite(y) || !Number.isFinite(yaw)) return;
      corners.push([x, y, Math.atan2(wheel.at[1], wheel.at[0])]);
      middle[0] += x / run.wheels.length;
      middle[1] += y / run.wheels.length;
      const state = wheelState(run, at, index), { tyre, push } = this.parts[index];
      tyre.setAttribute("transform", `translate(${x},${y}) rotate(${(-yaw * 180) / Math.PI})`);
      tyre.setAttribute("fill", `url(#c-${run.conditions[state.code].name})`);
      const unit = (wheel.radius * 1.8 * this.scale) / run.even_load;
      const along = clamped(state.force * unit, -3 * wheel.radius * this.scale, 3 * wheel.radius * this.scale);
      const left = clamped(state.side * unit, -3 * wheel.radius * this.scale, 3 * wheel.radius * this.scale);
      push.setAttribute("d", pointed(x, y, x + along * Math.cos(yaw) - left * Math.sin(yaw), y - along * Math.sin(yaw) - left * Math.cos(yaw)));
    });
    const around = corners.sort((a, b) => a[2] - b[2]).map(([x, y]) => `${x},${y}`);
    if (around.length) this.frame.setAttribute("d", `M${around.join(" L")} Z`);
    this.frameView(...middle);
  }
}
