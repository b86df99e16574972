// Bands of what each wheel was doing, along the charts' time axis.

class Strip {
  constructor(run, charts) {
    Object.assign(this, { run, charts });
    this.height = run.wheels.length * 18 + 4;
    this.picture = draw("svg", { height: this.height, role: "img", "aria-label": `Condition of each wheel of ${run.title} over time` });
    const told = thinned([run], "the worst");
    const caption = (run.letter ? `${run.title}: what each wheel was doing` : "What each wheel was doing") + (told ? ` (${told})` : "");
    this.now = draw("line", { class: "now-line", y1: 0, y2: this.height });
    this.figure = make("figure", { class: "chart" }, make("figcaption", {}, caption), this.picture);
    this.picture.addEventListener("click", (event) => {
      const [from, to] = charts.range, box = this.picture.getBoundingClientRect();
      charts.clock.jump(from + ((event.clientX - box.left - LEFT) / (box.width - LEFT - RIGHT)) * (to - from));
    });
  }

  place(time) {
    const [from, to] = this.charts.range;
    return LEFT + ((time - from) / (to - from)) * (this.width - LEFT - RIGHT);
  }

  render() {
    const { run } = this, [from, to] = this.charts.range;
    this.width = Math.max(this.figure.clientWidth, 220);
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
    this.follow(this.charts.clock.time);
  }

  follow(time) {
    if (!this.width) return;
    const x = clamped(this.place(time), LEFT, this.width - RIGHT);
    this.now.setAttribute("x1", x);
    this.now.setAttribute("x2", x);
  }
}
