// Traces: panels with one chart a run, all on one time axis; zoom, hover and wheels shown are common to them.

const FIRST_PANELS = ["wheel_speed", "normal_load", "traction_use", "drive_force", "motor_torque", "bus_voltage"];
const MOST_PANELS = 12;

class Charts {
  constructor(place, data, runs, clock) {
    Object.assign(this, { data, runs, clock, panels: [], range: [0, clock.end], hidden: new Set(), busy: false });
    this.panelsPlace = make("div");
    this.seen = new IntersectionObserver((entries) => {
      for (const { target, isIntersecting } of entries) this.panels.find((panel) => panel.place === target)?.appear(isIntersecting);
    }, { rootMargin: "100px" });
    this.strips = runs.map((run) => new Strip(run, this));
    place.append(this.bar(), this.key(),
      make("div", { class: "side-by-side" }, ...this.strips.map((strip) => strip.figure)), this.panelsPlace);
    for (const name of FIRST_PANELS) this.add(name);
    clock.listen(() => this.follow());
    new ResizeObserver(() => this.fit()).observe(place);
  }

  bar() {
    const add = () => {
      this.add("wheel_speed");
      this.panels.at(-1).select.focus();
    };
    const button = (text, action) => {
      const made = make("button", { type: "button" }, text);
      made.addEventListener("click", action);
      return made;
    };
    this.addButton = button("Add a trace", add);
    return make("div", { class: "bar" },
      button("Zoom in", () => this.zoom(0.5)), button("Zoom out", () => this.zoom(2)),
      button("Whole run", () => this.show(0, this.clock.end)), this.addButton,
      make("span", { class: "hint" }, "Drag across a chart to zoom, double-click for the whole run, click to move the playback there."));
  }

  /** Boxes to tick for the wheels shown, one for each name; with its line where that is the same in all runs. */
  key() {
    const seen = new Map();
    const look = (wheel) => `${wheel.colour} ${wheel.dash}`;
    for (const wheel of this.runs.flatMap((run) => run.wheels)) {
      const known = seen.get(wheel.name);
      seen.set(wheel.name, { ...wheel, same: !known || (known.same && look(known) === look(wheel)) });
    }
    const boxes = [...seen.values()].map((wheel) => {
      const box = make("input", { type: "checkbox", checked: "" });
      box.addEventListener("change", () => {
        if (box.checked) this.hidden.delete(wheel.name); else this.hidden.add(wheel.name);
        for (const panel of this.panels) panel.hide(this.hidden);
      });
      return make("label", {}, box, ...(wheel.same ? [sample(wheel)] : []), wheel.word);
    });
    return make("fieldset", { class: "key" }, make("legend", {}, "Wheels shown"), ...boxes);
  }

  add(name) {
    const panel = new Panel(this, name);
    this.panels.push(panel);
    this.panelsPlace.append(panel.place);
    panel.build();
    this.seen.observe(panel.place);
    this.addButton.disabled = this.panels.length >= MOST_PANELS;
  }

  remove(panel) {
    this.panels = this.panels.filter((other) => other !== panel);
    this.seen.unobserve(panel.place);
    panel.place.remove();
    panel.clear();
    this.addButton.disabled = false;
    this.addButton.focus();
  }

  zoom(factor) {
    const half = ((this.range[1] - this.range[0]) / 2) * factor;
    const middle = clamped(this.clock.time, this.range[0], this.range[1]);
    this.show(middle - half, middle + half);
  }

  /** Show the time from ``low`` to ``high`` in every chart. */
  show(low, high) {
    if (this.busy) return;
    this.busy = true;
    const least = Math.max(Math.min(...this.runs.map((run) => run.interval)) * 4, 1e-3);
    const span = clamped(high - low, least, this.clock.end);
    const start = clamped(low, 0, this.clock.end - span);
    this.range = [start, start + span];
    for (const panel of this.panels) panel.rescale();
    for (const strip of this.strips) strip.render();
    this.busy = false;
    this.follow();
  }

  fit() {
    for (const panel of this.panels) panel.fit();
    for (const strip of this.strips) strip.render();
    this.follow();
  }

  follow() {
    for (const panel of this.panels) panel.follow(this.clock.time);
    for (const strip of this.strips) strip.follow(this.clock.time);
  }
}

class Panel {
  constructor(charts, name) {
    Object.assign(this, { charts, name, plots: [], visible: true });
    this.number = (Panel.count = (Panel.count ?? 0) + 1);
    this.select = make("select", { id: `trace-${this.number}` },
      ...[[true, "each wheel"], [false, "rover"]].map(([wheel, word]) => make("optgroup", { label: word },
        ...charts.data.channels.filter((channel) => channel.wheel === wheel)
          .map((channel) => make("option", { value: channel.name }, titled(channel))))));
    this.select.value = name;
    this.select.addEventListener("change", () => { this.name = this.select.value; this.build(); });
    const remove = make("button", { type: "button", "aria-label": `Remove trace ${this.number}` }, "Remove");
    remove.addEventListener("click", () => charts.remove(this));
    this.meaning = make("span", { class: "hint" });
    this.row = make("div", { class: "side-by-side" });
    this.place = make("section", { class: "panel", "aria-label": `Trace ${this.number}` },
      make("div", { class: "bar" }, make("label", { for: `trace-${this.number}` }, "Trace"), this.select, this.meaning, remove),
      this.row);
  }

  get channel() {
    return this.charts.data.channels.find((channel) => channel.name === this.name);
  }

  build() {
    this.meaning.textContent = this.channel.meaning;
    this.clear();
    const told = thinned(this.charts.runs, "lowest and highest");
    if (told) this.meaning.textContent += ` (${told})`;
    this.plots = this.charts.runs.map((run) => new Chart(this, run));
    this.hide(this.charts.hidden);
    this.follow(this.charts.clock.time);
  }

  /** Let the charts go, with what they listen to. */
  clear() {
    for (const plot of this.plots) plot.plot.destroy();
    this.plots = [];
    this.row.replaceChildren();
  }

  appear(visible) {
    this.visible = visible;
    this.follow(this.charts.clock.time);
  }

  hide(hidden) {
    for (const plot of this.plots) plot.hide(hidden);
    this.rescale();
  }

  /** Lowest and highest value of all runs in the time shown, with some room. */
  extent() {
    let low = Infinity, high = -Infinity;
    for (const plot of this.plots) {
      const first = plot.run.row(this.charts.range[0]), last = plot.run.row(this.charts.range[1]);
      plot.columns.forEach((column, index) => {
        if (plot.isHidden(index)) return;
        for (let i = first; i <= last; i++) {
          const value = column[i];
          if (value === null) continue;
          if (value < low) low = value;
          if (value > high) high = value;
        }
      });
    }
    if (low > high) return [0, 1];
    const room = (high - low) * 0.06 || Math.max(Math.abs(high) * 0.1, 0.1);
    return [low - room, high + room];
  }

  rescale() {
    const [low, high] = this.extent();
    for (const plot of this.plots) plot.rescale(this.charts.range, low, high);
  }

  fit() {
    for (const plot of this.plots) plot.fit();
  }

  /** Show the moment; out of sight it can wait. */
  follow(time) {
    if (this.visible) for (const plot of this.plots) plot.follow(time);
  }
}
