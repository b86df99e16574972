// Traces: panels with one chart a run, all on one time axis; zoom, hover and wheels shown are common to them.

const FIRST_PANELS = ["wheel_speed", "normal_load", "traction_use", "drive_force", "motor_torque", "bus_voltage"];
const MOST_PANELS = 12;
const LEFT = 62, RIGHT = 10;

/** A line as it is drawn, for keys. */
function sample(line) {
  const stroke = { stroke: line.colour, "stroke-width": 2, "stroke-dasharray": line.dash.join(" ") || "none" };
  return draw("svg", { width: 26, height: 8, "aria-hidden": "true" },
    draw("line", { x1: 0, x2: 26, y1: 4, y2: 4, ...stroke }));
}

class Charts {
  constructor(place, data, runs, clock) {
    Object.assign(this, { data, runs, clock, panels: [], range: [0, clock.end], hidden: new Set(), busy: false });
    this.panelsPlace = make("div");
    this.strips = runs.map((run) => new Strip(run, this));
    place.append(this.bar(), this.key(),
      make("div", { class: "side-by-side" }, ...this.strips.map((strip) => strip.figure)), this.panelsPlace);
    for (const name of FIRST_PANELS) this.add(name);
    clock.listen(() => this.follow());
    new ResizeObserver(() => this.fit()).observe(place);
  }

  bar() {
    const button = (text, action) => {
      const made = make("button", { type: "button" }, text);
      made.addEventListener("click", action);
      return made;
    };
    return make("div", { class: "bar" },
      button("Zoom in", () => this.zoom(0.5)), button("Zoom out", () => this.zoom(2)),
      button("Whole run", () => this.show(0, this.clock.end)), button("Add a trace", () => this.add("wheel_speed")),
      make("span", { class: "hint" }, "Drag across a chart to zoom, double-click for the whole run, click to move the playback there."));
  }

  /** Boxes to tick for the wheels shown; wheels of the same name and line in several runs share one. */
  key() {
    const seen = new Map();
    for (const run of this.runs) for (const wheel of run.wheels) if (!seen.has(wheel.name)) seen.set(wheel.name, wheel);
    const boxes = [...seen.values()].map((wheel) => {
      const box = make("input", { type: "checkbox", checked: "" });
      box.addEventListener("change", () => {
        if (box.checked) this.hidden.delete(wheel.name); else this.hidden.add(wheel.name);
        for (const panel of this.panels) panel.hide(this.hidden);
      });
      return make("label", {}, box, sample(wheel), wheel.word);
    });
    return make("fieldset", { class: "key" }, make("legend", {}, "Wheels shown"), ...boxes);
  }

  add(name) {
    if (this.panels.length >= MOST_PANELS) return;
    const panel = new Panel(this, name);
    this.panels.push(panel);
    this.panelsPlace.append(panel.place);
    panel.build();
  }

  remove(panel) {
    this.panels = this.panels.filter((other) => other !== panel);
    panel.place.remove();
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
    const least = Math.max(this.runs[0].interval * 4, 1e-3);
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
    this.charts = charts;
    this.name = name;
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
    this.row.replaceChildren();
    const { each, interval } = this.charts.runs[0];
    if (each > 1) this.meaning.textContent += ` (lowest and highest of every ${(each * interval).toFixed(2)} s)`;
    this.plots = this.charts.runs.map((run) => new Chart(this, run));
    this.hide(this.charts.hidden);
    this.follow(this.charts.clock.time);
  }

  hide(hidden) {
    for (const plot of this.plots) plot.hide(hidden);
    this.rescale();
  }

  /** Lowest and highest value of all runs in the time shown, with some room. */
  extent() {
    let low = Infinity, high = -Infinity;
    for (const plot of this.plots ?? []) {
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

  follow(time) {
    for (const plot of this.plots) plot.follow(time);
  }
}

class Chart {
  constructor(panel, run) {
    Object.assign(this, { panel, run, hovered: null });
    const channel = panel.channel, count = run.wheels.length;
    this.lines = channel.wheel ? run.wheels : [{ word: "rover", name: "", colour: "#222222", dash: [] }];
    const values = run.channels.get(channel.name);
    const known = (value) => (Number.isNaN(value) ? null : value);
    this.columns = this.lines.map((_, wheel) => Array.from(run.time, (__, row) =>
      known(channel.wheel ? values[row * count + wheel] : values[row])));
    this.readout = make("figcaption", { class: "readout" });
    this.now = make("div", { class: "now" });
    this.figure = make("figure", { class: "chart", role: "group", "aria-label": `${titled(channel)} of ${run.title} over time` });
    panel.row.append(this.figure);
    this.plot = new uPlot(this.options(channel), [run.time, ...this.columns], this.figure);
    this.plot.over.append(this.now);
    this.figure.append(this.readout);
    let pressed = 0;
    this.plot.over.addEventListener("mousedown", (event) => { pressed = event.clientX; });
    this.plot.over.addEventListener("click", (event) => {
      if (Math.abs(event.clientX - pressed) < 4) panel.charts.clock.jump(this.plot.posToVal(event.offsetX, "x"));
    });
    this.plot.over.addEventListener("dblclick", () => panel.charts.show(0, panel.charts.clock.end));
  }

  options(channel) {
    const axis = { stroke: "#222222", grid: { stroke: "#e6e6e6", width: 1 }, ticks: { stroke: "#6b6b6b", width: 1, size: 4 }, font: "12px sans-serif", labelFont: "12px sans-serif" };
    const signed = (_, ticks) => ticks.map((tick) => String(tick).replace("-", "−"));
    return {
      width: this.width, height: 190, padding: [8, RIGHT, 0, 0],
      legend: { show: false },
      scales: { x: { time: false }, y: { auto: false } },
      axes: [{ ...axis, label: "time [s]", labelSize: 18, size: 32, values: signed },
        { ...axis, label: titled(channel), labelSize: 16, size: LEFT - 16, values: signed }],
      series: [{}, ...this.lines.map((line) => ({ label: line.word, stroke: line.colour, width: 1.4, dash: line.dash, points: { show: false } }))],
      cursor: { sync: { key: "traces" }, y: false, drag: { x: true, y: false, setScale: false }, points: { size: 5 } },
      hooks: {
        setSelect: [(plot) => {
          if (plot.select.width < 4) return;
          const low = plot.posToVal(plot.select.left, "x"), high = plot.posToVal(plot.select.left + plot.select.width, "x");
          plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          this.panel.charts.show(low, high);
        }],
        setCursor: [(plot) => {
          this.hovered = plot.cursor.left >= 0 && plot.cursor.idx !== null ? plot.cursor.idx : null;
          this.tell();
        }],
      },
    };
  }

  get width() {
    return Math.max(this.figure.clientWidth, 220);
  }

  isHidden(index) {
    return this.hiddenNames?.has(this.lines[index].name) ?? false;
  }

  hide(hidden) {
    this.hiddenNames = hidden;
    this.lines.forEach((line, index) => this.plot.setSeries(index + 1, { show: !hidden.has(line.name) }, false));
    this.tell();
  }

  rescale([from, to], low, high) {
    this.plot.batch(() => {
      this.plot.setScale("x", { min: from, max: to });
      this.plot.setScale("y", { min: low, max: high });
    });
  }

  fit() {
    if (this.plot.width !== this.width) this.plot.setSize({ width: this.width, height: 190 });
  }

  follow(time) {
    const left = this.plot.valToPos(Math.min(time, this.run.end), "x");
    this.now.hidden = !(left >= 0 && left <= this.plot.over.clientWidth);
    this.now.style.transform = `translateX(${left}px)`;
    this.tell();
  }

  /** Say the values at the hovered moment, or at the moment of the playback. */
  tell() {
    if (!this.plot) return;
    const row = this.hovered ?? this.run.row(this.panel.charts.clock.time);
    const unit = unitWord(this.panel.channel.unit);
    const parts = this.lines.map((line, index) => this.isHidden(index) ? null
      : make("span", {}, sample(line), ` ${line.word} ${shown(this.columns[index][row])}`)).filter(Boolean);
    this.readout.replaceChildren(make("span", { class: "moment" }, seconds(this.run.time[row])), ...parts, unit);
  }
}

/** Bands of each wheel's condition along the charts' time axis. */
class Strip {
  constructor(run, charts) {
    Object.assign(this, { run, charts });
    this.height = run.wheels.length * 18 + 4;
    this.picture = draw("svg", { height: this.height, role: "img", "aria-label": `Condition of each wheel of ${run.title} over time` });
    this.now = draw("line", { class: "now-line", y1: 0, y2: this.height });
    this.figure = make("figure", { class: "chart" }, make("figcaption", {}, run.letter ? `${run.title}: what each wheel was doing` : "What each wheel was doing"), this.picture);
    this.picture.addEventListener("click", (event) => {
      const [from, to] = charts.range, box = this.picture.getBoundingClientRect();
      charts.clock.jump(from + ((event.clientX - box.left - LEFT) / (box.width - LEFT - RIGHT)) * (to - from));
    });
  }

  get width() {
    return Math.max(this.figure.clientWidth, 220);
  }

  place(time) {
    const [from, to] = this.charts.range;
    return LEFT + ((time - from) / (to - from)) * (this.width - LEFT - RIGHT);
  }

  render() {
    const { run } = this, [from, to] = this.charts.range;
    this.picture.setAttribute("width", this.width);
    const first = run.row(from), last = run.row(to), parts = [];
    run.wheels.forEach((wheel, index) => {
      const y = index * 18 + 2;
      parts.push(draw("text", { x: LEFT - 6, y: y + 12, "text-anchor": "end", class: "tick" }, brief(wheel.word)));
      let start = first;
      for (let row = first; row <= last; row++) {
        const code = run.conditionOf(start, index);
        if (row < last && run.conditionOf(row + 1, index) === code) continue;
        const left = this.place(Math.max(run.time[start], from));
        const right = this.place(row < last ? run.time[row + 1] : Math.min(run.end, to));
        if (right > left) {
          parts.push(draw("rect", { x: left, y, width: right - left, height: 15, fill: `url(#c-${this.charts.data.conditions[code].name})` }));
        }
        start = row + 1;
      }
    });
    this.picture.replaceChildren(...parts, this.now);
  }

  follow(time) {
    const x = clamped(this.place(time), LEFT, this.width - RIGHT);
    this.now.setAttribute("x1", x);
    this.now.setAttribute("x2", x);
  }
}
