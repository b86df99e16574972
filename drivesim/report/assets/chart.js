// One run's chart of one channel: its lines, the moment of the playback, and the values there in words.

const LEFT = 62, RIGHT = 10; // of the room beside a chart, which the strips keep too

/** A line as it is drawn, for keys. */
function sample(line) {
  const stroke = { stroke: line.colour, "stroke-width": 2, "stroke-dasharray": line.dash.join(" ") || "none" };
  return draw("svg", { width: 26, height: 8, "aria-hidden": "true" },
    draw("line", { x1: 0, x2: 26, y1: 4, y2: 4, ...stroke }));
}

class Chart {
  constructor(panel, run) {
    Object.assign(this, { panel, run, hovered: null });
    const channel = panel.channel, count = run.wheels.length;
    this.lines = channel.wheel ? run.wheels : [{ word: "rover", name: "", colour: "#222222", dash: [] }];
    const values = run.channels.get(channel.name);
    const known = (value) => (Number.isFinite(value) ? value : null);
    this.columns = this.lines.map((_, wheel) => Array.from(run.time, (__, row) =>
      known(channel.wheel ? values[row * count + wheel] : values[row])));
    this.tellCalmly = calmly(() => this.tell());
    this.moment = make("span", { class: "moment" });
    this.values = this.lines.map(() => document.createTextNode(""));
    this.keys = this.lines.map((line, index) => make("span", {}, sample(line), ` ${line.word} `, this.values[index]));
    this.readout = make("figcaption", { class: "readout" },
      ...(run.letter ? [make("span", { class: "letter" }, run.letter)] : []), this.moment, ...this.keys, unitWord(channel.unit));
    this.now = make("div", { class: "now" });
    this.figure = make("figure", { class: "chart", role: "group", "aria-label": `${titled(channel)} of ${run.title} over time` });
    panel.row.append(this.figure);
    this.plot = new uPlot(this.options(channel), [run.time, ...this.columns], this.figure);
    this.plot.over.append(this.now);
    this.figure.append(this.readout);
    this.plot.over.addEventListener("mousedown", (event) => {
      panel.charts.pressed = this;
      this.pressedAt = event.clientX;
    });
    this.plot.over.addEventListener("click", (event) => {
      if (Math.abs(event.clientX - this.pressedAt) < 4) panel.charts.clock.jump(this.plot.posToVal(event.offsetX, "x"));
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
          // all charts are told of the drag: only the one it was made in may zoom, since the others' scales change by that
          if (this.panel.charts.pressed !== this || plot.select.width < 4) return;
          const low = plot.posToVal(plot.select.left, "x"), high = plot.posToVal(plot.select.left + plot.select.width, "x");
          plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          this.panel.charts.show(low, high);
        }],
        setCursor: [(plot) => {
          this.hovered = plot.cursor.left >= 0 ? plot.cursor.idx ?? null : null;
          this.tellCalmly?.();
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
    this.lines.forEach((line, index) => {
      this.plot.setSeries(index + 1, { show: !hidden.has(line.name) }, false);
      this.keys[index].hidden = hidden.has(line.name);
    });
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
    const { min, max } = this.plot.scales.x, share = (Math.min(time, this.run.end) - min) / (max - min);
    this.now.hidden = !(share >= 0 && share <= 1);
    this.now.style.transform = `translateX(${share * (this.plot.width - LEFT - RIGHT)}px)`;
    this.tellCalmly();
  }

  /** Say the values at the hovered moment, or at the moment of the playback. */
  tell() {
    const row = this.hovered ?? this.run.row(this.panel.charts.clock.time), { name } = this.panel.channel;
    this.moment.textContent = `${this.run.time[row].toFixed(3)} s`;
    this.columns.forEach((column, index) => { this.values[index].data = this.run.say(name, column[row], 1); });
  }
}
