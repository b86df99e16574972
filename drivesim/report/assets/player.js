// Playback: every run's views and table at one moment; buttons, slider and keys move it.

const PACES = [0.1, 0.25, 0.5, 1, 2, 5, 10, 30];
const COLUMNS = [
  ["wheel", null], ["does", (s, run) => run.conditions[s.code].word],
  ["load [N]", (s, run) => run.say("normal_load", s.load, 1)], ["push [N]", (s, run) => run.say("drive_force", s.force, 1)],
  ["of its grip", (s) => (Number.isNaN(s.use) ? "–" : `${Math.round(s.use * 100)} %`)],
  ["speed [rad/s]", (s) => fixed(s.speed, 2)], ["wanted [rad/s]", (s) => fixed(s.wanted, 2)],
  ["current [A]", (s) => fixed(s.current, 2)], ["winding [°C]", (s) => fixed(s.warmth, 1)],
];

class RunView {
  constructor(run, conditions, together) {
    this.run = Object.assign(run, { conditions });
    this.tellCalmly = calmly((time) => this.tell(time));
    this.views = [...run.rows_of_wheels.map((group) => new SideView(run, group, conditions)), new TopView(run, together)];
    this.cells = run.wheels.map((wheel) => COLUMNS.map(([title, value]) => value
      ? make("td") : make("th", { scope: "row" }, wheel.word)));
    const table = make("table", { class: "now-table" },
      make("thead", {}, make("tr", {}, ...COLUMNS.map(([title]) => make("th", { scope: "col" }, title)))),
      make("tbody", {}, ...this.cells.map((row) => make("tr", {}, ...row))));
    this.status = make("p", { class: "status" });
    const jumps = run.jumps.map((jump) => {
      const button = make("button", { type: "button", "data-jump": jump.time }, `${jump.words}, ${seconds(jump.time)}`);
      return make("li", {}, button);
    });
    const told = thinned([run], "Values are the lowest or highest, and what a wheel does is the worst,");
    this.place = make("div", { class: "run-view" },
      ...(run.letter ? [make("h3", {}, make("span", { class: "letter" }, run.letter), ` ${run.name}`)] : []),
      this.status, ...(told ? [make("p", { class: "hint" }, `${told}.`)] : []), make("div", { class: "views" }, ...this.views.map((view) => view.figure)),
      make("div", { class: "wide", tabindex: 0, role: "region", "aria-label": `Wheels of ${run.title} at this moment` }, table),
      make("p", { class: "hint" }, "Jump to:"), make("ul", { class: "jumps", "aria-label": `Moments of ${run.title}` }, ...jumps));
  }

  show(time) {
    for (const view of this.views) view.show(time);
    this.tellCalmly(time);
  }

  /** Words and numbers, which nobody reads faster than ten times a second. */
  tell(time) {
    const { run } = this, at = Math.min(time, run.end), row = run.row(at);
    for (const view of this.views) view.tell?.(time);
    const battery = `bus ${fixed(run.at("bus_voltage", row), 2)} V, battery ${fixed(run.at("battery_current", row), 2)} A`;
    const state = time > run.end ? "ended" : run.at("stuck", row) > 0.5 ? "stuck" : `${fixed(run.at("speed", row), 2)} m/s`;
    this.status.textContent = `${state}; ${battery}`;
    run.wheels.forEach((_, wheel) => {
      const found = wheelState(run, at, wheel);
      COLUMNS.forEach(([, value], column) => {
        if (value) this.cells[wheel][column].textContent = value(found, run);
      });
    });
  }
}

class Player {
  /** ``moments``: times of what happened, to go to in turn. */
  constructor(place, data, runs, clock, moments) {
    Object.assign(this, { clock, moments });
    this.views = runs.map((run) => new RunView(run, data.conditions, data.same_ground ? runs : [run]));
    const button = (text, action, attributes = {}) => {
      const made = make("button", { type: "button", ...attributes }, text);
      made.addEventListener("click", action);
      return made;
    };
    this.playButton = button("Play", () => clock.toggle(), { id: "play" });
    this.pace = make("select", { id: "pace" }, ...PACES.map((pace) => make("option", { value: pace }, `${pace} ×`)));
    this.pace.value = "1";
    this.pace.addEventListener("change", () => { clock.pace = Number(this.pace.value); });
    this.slider = make("input", { type: "range", id: "moment", min: 0, max: clock.end, step: "any", value: 0, "aria-label": "Moment of the run" });
    this.slider.addEventListener("input", () => clock.jump(Number(this.slider.value)));
    this.read = make("output", { for: "moment", id: "now", "aria-live": "off" });
    this.link = make("a", {}, "Link to this moment");
    const hint = "Keys, while the playback has the focus: space plays and pauses, ← and → move by 0.1 s (with Shift 1 s), P and N go to the previous and the next event, Home and End to the ends, + and − change the pace. What lasts less than 0.05 s does not change what a wheel is said to do.";
    this.region = make("div", { class: "player", tabindex: 0, role: "group", "aria-label": "Playback", "aria-describedby": "keys" },
      make("div", { class: "bar" }, this.playButton,
        button("◂ 0.1 s", () => clock.jump(clock.time - 0.1), { "aria-label": "Back by 0.1 s" }),
        button("0.1 s ▸", () => clock.jump(clock.time + 0.1), { "aria-label": "Forward by 0.1 s" }),
        button("◂ event", () => this.seek(-1), { "aria-label": "Previous event" }), button("event ▸", () => this.seek(1), { "aria-label": "Next event" }),
        make("label", { for: "pace" }, "pace"), this.pace, this.slider, this.read),
      this.key(data.conditions),
      make("div", { class: "side-by-side" }, ...this.views.map((view) => view.place)),
      make("p", { class: "hint" }, this.link), make("p", { class: "hint", id: "keys" }, hint));
    this.region.addEventListener("keydown", (event) => this.press(event));
    place.append(hatches(data.conditions), this.region);
    document.addEventListener("click", (event) => {
      const target = event.target.closest?.("[data-jump]");
      if (!target) return;
      clock.jump(Number(target.dataset.jump));
      if (!this.region.contains(target)) this.region.scrollIntoView({ block: "start" });
    });
    clock.listen((time) => this.show(time));
  }

  key(conditions) {
    const entries = conditions.map((condition) => make("li", {},
      draw("svg", { width: 22, height: 12, "aria-hidden": "true" }, draw("rect", { width: 22, height: 12, class: "tyre", fill: `url(#c-${condition.name})` })),
      ` ${condition.word}`));
    return make("ul", { class: "key", "aria-label": "What the wheels' fills and marks mean" }, ...entries,
      make("li", {}, draw("svg", { width: 22, height: 12, "aria-hidden": "true" }, draw("path", { class: "load", d: pointed(11, 12, 11, 1) })), " load"),
      make("li", {}, draw("svg", { width: 22, height: 12, "aria-hidden": "true" }, draw("path", { class: "push", d: pointed(1, 6, 21, 6) })), " push of the wheel on the rover"),
      make("li", {}, draw("svg", { width: 22, height: 12, "aria-hidden": "true" }, draw("rect", { width: 22, height: 12, class: "beside" }), draw("rect", { y: 5, width: 22, height: 7, class: "earth" })), " ground under the middle of the tyres; lighter: beside it, where they touch first"),
      make("li", {}, draw("svg", { width: 42, height: 12, "aria-hidden": "true" }, draw("rect", { class: "used", y: 2, width: 24, height: 7 }), draw("rect", { class: "limit", y: 2, width: 40, height: 7 })), " share of its grip in use"));
  }

  press(event) {
    const scrolls = event.target.matches(".wide") && event.key.startsWith("Arrow") && event.target.scrollWidth > event.target.clientWidth;
    const own = scrolls || event.target.closest("select") || (event.target.closest("button, a, input[type=checkbox]") && event.key === " ");
    if (own || event.ctrlKey || event.metaKey || event.altKey) return;
    const { clock } = this, step = event.shiftKey ? 1 : 0.1, index = PACES.indexOf(clock.pace);
    const actions = {
      " ": () => clock.toggle(), ArrowLeft: () => clock.jump(clock.time - step), ArrowRight: () => clock.jump(clock.time + step),
      p: () => this.seek(-1), P: () => this.seek(-1), n: () => this.seek(1), N: () => this.seek(1), Home: () => clock.jump(0), End: () => clock.jump(clock.end),
      "+": () => this.setPace(index + 1), "=": () => this.setPace(index + 1), "-": () => this.setPace(index - 1), "−": () => this.setPace(index - 1),
    };
    if (!actions[event.key]) return;
    event.preventDefault();
    actions[event.key]();
  }

  /** Go to the next moment (``way`` 1) or the one before (−1) at which something happened. */
  seek(way) {
    const { time } = this.clock, near = 1e-4, after = (moment) => way * (moment - time) > near;
    const found = way > 0 ? this.moments.find(after) : this.moments.findLast(after);
    if (found !== undefined) this.clock.jump(found);
  }

  setPace(index) {
    this.clock.pace = PACES[clamped(index, 0, PACES.length - 1)];
    this.pace.value = String(this.clock.pace);
  }

  show(time) {
    this.playButton.textContent = this.clock.playing ? "Pause" : "Play";
    this.slider.value = time;
    this.slider.setAttribute("aria-valuetext", seconds(time));
    this.link.setAttribute("href", `#t=${time.toFixed(2)}`);
    this.read.textContent = `${time.toFixed(2)} of ${seconds(this.clock.end)}`;
    for (const view of this.views) view.show(time);
  }
}
