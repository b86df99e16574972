// The rover as it moves, from the side on its own ground, to scale; and the marks that all views share.

const WIDTH = 480; // of a view, in its own units
const LANE = 78; // for words above the wheels
const ABREAST = 3; // wheels beside each other whose words have room for load and push

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
    use: value("traction_use"), speed: value("wheel_speed"), wanted: value("commanded_speed"), normal: value("normal_ahead"),
    current: Math.hypot(value("current_d"), value("current_q")), warmth: value("winding_temperature"),
  };
}

/** How far left the ground is cut at ``place``: on each wheel's own track below it, from track to track between them. */
function beneath(hubs, place, radius) {
  const next = hubs.findIndex((hub) => hub.along > place);
  if (next === 0) return hubs[0].left;
  const last = hubs.at(next === -1 ? -1 : next - 1);
  if (next === -1) return last.left;
  const gap = hubs[next].along - last.along, own = Math.min(radius, gap / 2);
  return last.left + clamped((place - last.along - own) / Math.max(gap - 2 * own, 1e-9), 0, 1) * (hubs[next].left - last.left);
}

class SideView {
  constructor(run, group, conditions) {
    Object.assign(this, { run, group, conditions });
    const places = group.wheels.map((wheel) => run.wheels[wheel].at[0]);
    this.radius = Math.max(...group.wheels.map((wheel) => run.wheels[wheel].radius));
    const across = Math.max(...places) - Math.min(...places) + 7 * this.radius;
    this.scale = WIDTH / across;
    this.height = LANE + this.scale * this.radius * 4.2;
    // a tyre is round across too, as the simulation has it: places beside its middle, and how much lower they may lie
    this.aside = [-0.95, -0.8, -0.6, -0.4, -0.2, 0.2, 0.4, 0.6, 0.8, 0.95].map((share) => [share * this.radius, (1 - Math.sqrt(1 - share ** 2)) * this.radius]);
    this.ground = draw("path", { class: "earth" });
    this.beside = draw("path", { class: "beside" });
    this.frame = draw("path", { class: "frame" });
    this.parts = group.wheels.map((wheel) => this.wheelParts(wheel));
    this.where = draw("text", { x: WIDTH - 6, y: this.height - 6, "text-anchor": "end", class: "tick" });
    this.picture = draw("svg", { viewBox: `0 0 ${WIDTH} ${this.height}`, role: "img", "aria-label": `${run.title}, ${group.word} from the side` },
      draw("rect", { width: WIDTH, height: this.height, class: "air" }), this.beside, this.ground, this.frame,
      ...this.parts.flatMap((part) => part.all), this.where, ...this.ruler());
    const coarse = run.ground.dx > this.radius / 4 && run.ground.high > run.ground.low ? `; ground known every ${shown(run.ground.dx * 1000)} mm` : "";
    this.figure = make("figure", {}, make("figcaption", {}, `${group.word}, from the side, to scale${coarse}`), this.picture);
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
    const lines = (this.group.wheels.length > ABREAST ? [0, 1] : [0, 1, 2, 3]).map((line) => draw("text", { "text-anchor": "middle", class: line > 1 ? "word" : "word strong" }));
    lines[0].textContent = brief(this.run.wheels[wheel].word, 13);
    lines.forEach((line, number) => line.setAttribute("y", 13 + 13 * number));
    const bar = { x: -30, y: 13 * lines.length + 5, height: 7 };
    const used = draw("rect", { ...bar, class: "used" }), limit = draw("rect", { ...bar, width: 60, class: "limit" });
    const over = draw("g", {}, used, limit, ...lines);
    body.append(draw("title", {}, this.run.wheels[wheel].word));
    return { wheel, disc, spokes, body, load, push, lines, used, limit, over, all: [body, load, push, over] };
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
    const ordered = [...hubs].sort((a, b) => a.along - b.along);
    const floor = LANE + scale * this.radius * 1.5;
    const toX = (place) => WIDTH / 2 + (place - along) * scale, toY = (height) => floor - (height - z) * scale;
    const height = (place, aside) => run.ground.height(place * c - aside * s, place * s + aside * c);
    let earth = `M0,${this.height}`, beside = earth;
    for (let x = 0; x <= WIDTH; x += 3) {
      const place = along + (x - WIDTH / 2) / scale;
      const under = beneath(ordered, place, this.radius);
      let level = height(place, under);
      earth += ` L${x},${toY(level).toFixed(1)}`;
      for (const [aside, drop] of this.aside) level = Math.max(level, height(place, under + aside) - drop);
      beside += ` L${x},${toY(level).toFixed(1)}`;
    }
    this.ground.setAttribute("d", `${earth} L${WIDTH},${this.height} Z`);
    this.beside.setAttribute("d", `${beside} L${WIDTH},${this.height} Z`);
    this.frame.setAttribute("d", `M${ordered.map((hub) => `${toX(hub.along)},${toY(hub.z)}`).join(" L")}`);
    this.parts.forEach((part, index) => this.showWheel(part, toX(hubs[index].along), toY(hubs[index].z), at));
  }

  /** The words and bars above the wheels, which need not change as often as the picture. */
  tell(time) {
    const { run } = this, at = Math.min(time, run.end), nose = (-run.between("pitch", at) * 180) / Math.PI;
    const tilt = Math.abs(nose) < 0.05 ? "level" : `nose ${fixed(Math.abs(nose), 1)}° ${nose > 0 ? "up" : "down"}`;
    this.where.textContent = `x = ${fixed(run.between("x", at), 2)} m, ${tilt}`;
    for (const { wheel, lines, used } of this.parts) {
      const state = wheelState(run, at, wheel);
      const found = [this.conditions[state.code].word, `load ${run.say("normal_load", state.load)} N`, `push ${run.say("drive_force", state.force)} N`];
      lines.slice(1).forEach((line, index) => { line.textContent = found[index]; });
      used.setAttribute("width", 60 * (Number.isNaN(state.use) ? 0 : state.use));
    }
  }

  /** Put the words over each wheel, in two rows where there are many. */
  placeWords(part, x) {
    const spread = this.parts.length > ABREAST && this.parts.indexOf(part) % 2 ? 38 : 0;
    part.over.setAttribute("transform", `translate(${clamped(x, 46, WIDTH - 46).toFixed(1)},${spread})`);
  }

  showWheel(part, x, y, time) {
    const { run, scale } = this, state = wheelState(run, time, part.wheel), look = this.conditions[state.code];
    const size = run.radiusOf(part.wheel, time) * scale, up = Math.sqrt(Math.max(1 - state.normal ** 2, 0));
    part.body.setAttribute("transform", `translate(${x},${y})`);
    part.disc.setAttribute("r", size);
    part.disc.setAttribute("fill", `url(#c-${look.name})`);
    part.spokes.setAttribute("transform", `rotate(${((run.between("turned", time, part.wheel) * 180) / Math.PI) % 360}) scale(${size / (run.wheels[part.wheel].radius * scale)})`);
    const footX = x - state.normal * size, footY = y + up * size;
    const unit = (size * 0.9) / run.even_load, load = Math.min(state.load * unit, 2.2 * size);
    part.load.setAttribute("d", state.load > 0 ? pointed(footX - state.normal * load, footY + up * load, footX, footY) : "");
    const push = clamped(state.force * unit * 2, -2.2 * size, 2.2 * size);
    part.push.setAttribute("d", pointed(footX, footY, footX + up * push, footY + state.normal * push));
    this.placeWords(part, x);
  }
}
