// A chart of lines or dots with choices of what is level and what is upright, zoom, and the values at one place in words.

const CHART_HEIGHT = 300, HALF_MARK = 3.6, ROOM = 0.06;
const AXIS = { stroke: "#222222", grid: { stroke: "#e6e6e6", width: 1 }, ticks: { stroke: "#6b6b6b", width: 1, size: 4 }, font: "12px sans-serif", labelFont: "12px sans-serif" };
const MOST_LETTERS = 18, MOST_UPRIGHT = 38; // of a place in words, and of what stands beside the upright axis
const cut = (text, most) => (text.length > most ? `${text.slice(0, most - 1)}…` : text);
/** Ticks of a scale by factors: 1, 2 and 5 of each decade. */
const byFactors = (low, high) => {
  const ticks = [];
  for (let power = Math.floor(Math.log10(low)); power <= Math.log10(high); power++) {
    for (const digit of [1, 2, 5]) ticks.push(Number(`${digit}e${power}`));
  }
  return ticks.filter((tick) => tick >= low && tick <= high);
};
const inBrackets = (words, unit) => (unit ? `${words} [${unit}]` : words);

class Plotter {
  constructor(spec, place) {
    Object.assign(this, { spec, hidden: new Set(), chosen: 0, level: 0, less: false, row: 0 });
    this.number = (Plotter.count = (Plotter.count ?? 0) + 1);
    place.classList.add("plotter");
    this.key = make("fieldset", { class: "key" });
    this.figure = make("figure", { class: "chart", role: "group", "aria-label": spec.label });
    this.readout = make("figcaption", { class: "readout" });
    this.hint = make("p", { class: "hint" });
    this.slider = make("input", { type: "range", min: 0, step: 1, value: 0, id: `place-${this.number}` });
    this.slider.addEventListener("input", () => this.tell(Number(this.slider.value)));
    place.append(this.bar(), this.key, this.figure,
      make("div", { class: "bar" }, make("label", { for: this.slider.id }, `Values at a ${spec.point}`), this.slider), this.hint);
    this.build();
    new ResizeObserver(() => this.fit()).observe(place);
  }

  bar() {
    const { choices, across, against } = this.spec, parts = [];
    if (choices.length > 1) parts.push(...this.select("Shown", choices, (index) => { this.chosen = index; }));
    if (across?.length > 1) parts.push(...this.select("over", across, (index) => { this.level = index; }));
    if (against !== undefined) {
      const box = make("input", { type: "checkbox" });
      box.addEventListener("change", () => { this.less = box.checked; this.build(); });
      parts.push(make("label", { class: "tick-box" }, box, `less ${choices[0].lines[against].words}, ${this.spec.point} by ${this.spec.point}`));
    }
    const whole = make("button", { type: "button" }, "Show all");
    whole.addEventListener("click", () => this.show(...this.whole));
    return make("div", { class: "bar" }, ...parts, whole, make("span", { class: "hint" }, "Drag across the chart to zoom."));
  }

  select(word, options, take) {
    const id = `${word.toLowerCase()}-${this.number}`;
    const select = make("select", { id }, ...options.map((option, index) => make("option", { value: index }, inBrackets(option.title, option.unit))));
    select.addEventListener("change", () => { take(Number(select.value)); this.build(); });
    return [make("label", { for: id }, word), select];
  }

  /** Boxes to tick for the lines shown. */
  fillKey() {
    const boxes = this.lines.map((line) => {
      const box = make("input", { type: "checkbox" });
      box.checked = !this.hidden.has(line.words);
      box.addEventListener("change", () => {
        if (box.checked) this.hidden.delete(line.words); else this.hidden.add(line.words);
        this.lines.forEach((own, index) => this.plot.setSeries(index + 1, { show: !this.hidden.has(own.words) }, false));
        this.rescale();
        this.tell(this.row);
      });
      return make("label", {}, box, sampleOf(line), line.words);
    });
    this.key.replaceChildren(make("legend", {}, "Lines shown"), ...boxes);
    this.key.hidden = boxes.length < 2;
  }

  build() {
    const { spec } = this, choice = spec.choices[this.chosen], across = choice.across ?? spec.across[this.level];
    const order = across.values.map((_, index) => index).filter((index) => across.values[index] !== null);
    order.sort((a, b) => across.values[a] - across.values[b] || a - b);
    Object.assign(this, { choice, across, order, lines: choice.lines, names: choice.points ?? spec.points });
    this.x = order.map((index) => across.values[index]);
    const base = this.less ? choice.lines[spec.against].values : null;
    this.columns = choice.lines.map((line) => order.map((index) => {
      const value = line.values[index];
      return base === null || value === null ? value : base[index] === null ? null : value - base[index];
    }));
    const first = this.x[0] ?? 0, last = this.x.at(-1) ?? 1, room = across.words ? 0.5 : (last - first) * 0.03 || Math.abs(first) * 0.1 || 1;
    this.whole = across.log ? [first / 1.15, last * 1.15] : [first - room, last + room];
    this.range = this.whole;
    this.hint.textContent = choice.hint ?? spec.hint ?? "";
    this.slider.max = Math.max(0, this.x.length - 1);
    this.fillKey();
    this.plot?.destroy();
    this.figure.replaceChildren();
    this.plot = new uPlot(this.options(), [this.x, ...this.columns], this.figure);
    this.rings = this.lines.map(() => make("div", { class: "ring" }));
    this.plot.over.append(...this.rings);
    this.figure.append(this.readout);
    this.plot.over.addEventListener("dblclick", () => this.show(...this.whole));
    this.rescale();
    this.tell(Math.min(this.row, Math.max(0, this.x.length - 1)));
  }

  options() {
    const signed = (_, ticks) => ticks.map((tick) => (tick === null ? "" : String(tick).replace("-", "−")));
    const { words, log } = this.across;
    const level = { ...AXIS, label: inBrackets(this.across.title, this.across.unit), labelSize: 18, size: 34, values: signed };
    if (this.across.is_name) level.incrs = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000];
    if (log) Object.assign(level, { splits: (_, __, low, high) => byFactors(low, high), filter: (_, ticks) => ticks });
    if (words) Object.assign(level, { splits: () => words.map((_, index) => index), values: (_, ticks) => ticks.map((tick) => cut(words[tick] ?? "", MOST_LETTERS)) });
    return {
      width: this.width, height: CHART_HEIGHT, padding: [10, 14, 0, 0],
      legend: { show: false },
      scales: { x: { time: false, auto: false, distr: log ? 3 : 1, range: (_, low, high) => [low, high] }, y: { auto: false } },
      axes: [level, { ...AXIS, label: inBrackets(cut(this.upright, MOST_UPRIGHT), this.choice.unit), labelSize: 18, size: 56, values: signed }],
      series: [{}, ...this.lines.map((line) => ({
        label: line.words, stroke: line.colour, width: 1.6, dash: line.dash, points: { show: false },
        show: !this.hidden.has(line.words), ...(line.dots ? { paths: () => null } : {}),
      }))],
      cursor: { y: false, drag: { x: true, y: false, setScale: false }, points: { show: false } },
      hooks: {
        draw: [(plot) => this.mark(plot)],
        setSelect: [(plot) => {
          if (plot.select.width < 4) return;
          const low = plot.posToVal(plot.select.left, "x"), high = plot.posToVal(plot.select.left + plot.select.width, "x");
          plot.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          this.show(low, high);
        }],
        setCursor: [(plot) => { if (plot.cursor.left >= 0) this.tell(this.nearest(plot)); }],
      },
    };
  }

  get upright() {
    return this.less ? `${this.choice.title}, less ${this.lines[this.spec.against].words}` : this.choice.title;
  }

  get width() {
    return Math.max(this.figure.clientWidth, 220);
  }

  shows(index) {
    return !this.hidden.has(this.lines[index].words);
  }

  /** Draw the dots of all rows of dots that are shown. */
  mark(plot) {
    const { ctx, bbox } = plot, scale = devicePixelRatio;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    this.lines.forEach((line, index) => {
      if (!line.dots || !this.shows(index)) return;
      const path = new Path2D();
      this.columns[index].forEach((value, row) => {
        if (value !== null) addMark(path, line.mark, plot.valToPos(this.x[row], "x", true), plot.valToPos(value, "y", true), HALF_MARK * scale);
      });
      ctx.globalAlpha = 0.8;
      ctx.fillStyle = line.colour;
      ctx.fill(path);
    });
    ctx.restore();
  }

  /** The row nearest to the pointer: by its dots if there are any, else along the axis. */
  nearest(plot) {
    const { left, top, idx } = plot.cursor;
    let best = idx ?? 0, least = Infinity;
    this.lines.forEach((line, index) => {
      if (!line.dots || !this.shows(index)) return;
      this.columns[index].forEach((value, row) => {
        if (value === null) return;
        const far = Math.hypot(plot.valToPos(this.x[row], "x") - left, plot.valToPos(value, "y") - top);
        if (far < least) [least, best] = [far, row];
      });
    });
    return best;
  }

  show(low, high) {
    if (high > low) this.range = [Math.max(low, this.whole[0]), Math.min(high, this.whole[1])];
    this.rescale();
    this.tell(this.row);
  }

  rescale() {
    const [from, to] = this.range;
    let low = this.less ? 0 : Infinity, high = this.less ? 0 : -Infinity;
    this.columns.forEach((column, index) => {
      if (!this.shows(index)) return;
      column.forEach((value, row) => {
        if (value === null || this.x[row] < from || this.x[row] > to) return;
        if (value < low) low = value;
        if (value > high) high = value;
      });
    });
    if (low > high) [low, high] = [0, 1];
    const room = (high - low) * ROOM || Math.max(Math.abs(high) * 0.1, 1e-3);
    this.plot.batch(() => {
      this.plot.setScale("x", { min: from, max: to });
      this.plot.setScale("y", { min: low - room, max: high + room });
    });
  }

  fit() {
    if (this.plot.width === this.width) return;
    this.plot.setSize({ width: this.width, height: CHART_HEIGHT });
    this.tell(this.row);
  }

  /** Say the values of a row, and mark where it is. */
  tell(row) {
    this.row = row;
    if (!this.plot || !this.x.length) return;
    this.slider.value = row;
    const place = this.place(row), unit = this.choice.unit ? ` ${this.choice.unit}` : "";
    const told = (value) => (value === null ? "–" : shown(value) + unit);
    const values = this.lines.map((line, index) => (this.shows(index) ? [line, told(this.columns[index][row])] : null)).filter(Boolean);
    this.readout.replaceChildren(make("span", { class: "moment" }, place),
      ...values.map(([line, value]) => make("span", {}, sampleOf(line), ` ${line.words} ${value}`)));
    this.slider.setAttribute("aria-valuetext", `${place}: ${values.map(([line, value]) => `${line.words} ${value}`).join(", ")}`);
    const { plot } = this;
    this.rings.forEach((ring, index) => {
      const value = this.columns[index][row], x = plot.valToPos(this.x[row], "x"), y = value === null ? NaN : plot.valToPos(value, "y");
      ring.hidden = !(this.shows(index) && x >= -1 && x <= plot.over.clientWidth + 1 && y >= -1 && y <= plot.over.clientHeight + 1);
      ring.style.transform = `translate(${x}px, ${y}px)`;
    });
  }

  /** Where a row is: its name if it has one, and how far along the axis. */
  place(row) {
    const { across, spec, names } = this, x = this.x[row];
    const at = across.words ? across.words[x] : `${shown(x)}${across.unit ? ` ${across.unit}` : ""}`;
    return names ? `${spec.point} ${names[this.order[row]]}${across.is_name ? "" : ` (${across.title} ${at})`}` : `${across.title} ${at}`;
  }
}
