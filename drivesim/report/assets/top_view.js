// A run from above: the ground, the way of each wheel, and the rover where it is.

const LEAST_ROVER = 18; // units from the middle of a rover to its farthest wheel that can still be made out

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

/** A stretch of at least ``length`` about the same middle. */
function atLeast([low, high], length) {
  const more = Math.max(0, length - (high - low)) / 2;
  return [low - more, high + more];
}

class TopView {
  /** ``together``: the runs whose ways must find room, so that views of one ground show the same part of it. */
  constructor(run, together) {
    this.run = run;
    const [x, y] = ["hub_x", "hub_y"].map((name) => bounds(together, name));
    [this.x0, this.x1] = atLeast(x, (y[1] - y[0]) / 2);
    [this.y0, this.y1] = atLeast(y, (x[1] - x[0]) / 5);
    this.reach = reach(run);
    const fits = Math.min(WIDTH / (this.x1 - this.x0), 300 / (this.y1 - this.y0));
    this.scale = Math.max(fits, LEAST_ROVER / this.reach);
    this.close = this.scale > fits; // a rover too small to see on its long way
    this.wide = (this.x1 - this.x0) * this.scale;
    this.high = (this.y1 - this.y0) * this.scale;
    this.rover = draw("g", {});
    this.frame = draw("path", { class: "outline" });
    this.parts = run.wheels.map((wheel) => this.wheelParts(wheel));
    this.rover.append(this.frame, ...this.parts.flatMap((part) => [part.tyre, part.halo, part.push]));
    this.picture = draw("svg", { role: "img", "aria-label": `${run.title} from above, with the way of each wheel` },
      this.shade(), ...this.patches(), ...this.tracks(), this.rover);
    const box = make("input", { type: "checkbox" });
    box.checked = this.close;
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
    return this.run.patches.map((patch) => {
      const box = draw("rect", { x: this.toX(patch.x[0]), y: this.toY(patch.y[1]), class: "patch", fill: "url(#other-ground)",
        width: (patch.x[1] - patch.x[0]) * this.scale, height: (patch.y[1] - patch.y[0]) * this.scale });
      box.append(draw("title", {}, patch.word));
      return box;
    });
  }

  tracks() {
    const { run } = this;
    const tracks = run.wheels.map((wheel, index) => {
      let path = "";
      for (let row = 0; row < run.time.length; row++) {
        const x = this.toX(run.at("hub_x", row, index)), y = this.toY(run.at("hub_y", row, index));
        if (Number.isFinite(x) && Number.isFinite(y)) path += `${path ? "L" : "M"}${x.toFixed(2)},${y.toFixed(2)}`;
      }
      return draw("path", { d: path, class: "track", stroke: wheel.colour, "stroke-dasharray": wheel.dash.join(" ") || "none" });
    });
    return [...tracks.map((track) => draw("path", { d: track.getAttribute("d"), class: "halo" })), ...tracks];
  }

  wheelParts(wheel) {
    const long = wheel.radius * 2 * this.scale, wide = long * 0.45;
    const tyre = draw("rect", { width: long, height: wide, x: -long / 2, y: -wide / 2, class: "tyre" });
    tyre.append(draw("title", {}, wheel.word));
    return { tyre, halo: draw("path", { class: "halo" }), push: draw("path", { class: "push" }) };
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
      const state = wheelState(run, at, index), { tyre, halo, push } = this.parts[index];
      tyre.setAttribute("transform", `translate(${x},${y}) rotate(${(-yaw * 180) / Math.PI}) scale(${run.radiusOf(index, at) / wheel.radius})`);
      tyre.setAttribute("fill", `url(#c-${run.conditions[state.code].name})`);
      const unit = (wheel.radius * 1.8 * this.scale) / run.even_load;
      const along = clamped(state.force * unit, -3 * wheel.radius * this.scale, 3 * wheel.radius * this.scale);
      const left = clamped(state.side * unit, -3 * wheel.radius * this.scale, 3 * wheel.radius * this.scale);
      const arrow = pointed(x, y, x + along * Math.cos(yaw) - left * Math.sin(yaw), y - along * Math.sin(yaw) - left * Math.cos(yaw));
      for (const path of [halo, push]) path.setAttribute("d", arrow);
    });
    const around = corners.sort((a, b) => a[2] - b[2]).map(([x, y]) => `${x},${y}`);
    if (around.length) this.frame.setAttribute("d", `M${around.join(" L")} Z`);
    this.frameView(...middle);
  }
}
