// The page's data, decoded; and small helpers to make elements (texts go in as text, never as markup).

const DRAWING = "http://www.w3.org/2000/svg";

function fill(element, attributes, parts) {
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...parts);
  return element;
}

const make = (name, attributes = {}, ...parts) => fill(document.createElement(name), attributes, parts);
const draw = (name, attributes = {}, ...parts) => fill(document.createElementNS(DRAWING, name), attributes, parts);

const bytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const floats = (text) => new Float32Array(bytes(text).buffer);

const clamped = (value, low, high) => Math.min(Math.max(value, low), high);
const words = (name) => name.replaceAll("_", " ");
const UNITS = { 1: "", "N*m": "N·m", degC: "°C" };
const unitWord = (unit) => UNITS[unit] ?? unit;
const titled = (channel) => {
  const unit = unitWord(channel.unit);
  return words(channel.name) + (unit ? ` [${unit}]` : "");
};
const brief = (word, most = 11) => (word.length > most ? `${word.slice(0, most - 1)}…` : word);
const seconds = (time) => `${time.toFixed(2)} s`;

/** A number in three digits, with a true minus sign. */
function shown(value) {
  if (value === null || Number.isNaN(value)) return "–";
  const size = Math.abs(value);
  const text = size >= 1000 ? value.toFixed(0) : size >= 1e-4 || size === 0 ? value.toPrecision(3) : value.toExponential(1);
  return (size === 0 ? "0" : text).replaceAll("-", "−");
}

/** A number with so many decimals, a true minus sign, and none before a zero. */
function fixed(value, places) {
  if (value === null || !Number.isFinite(value)) return "–";
  return value.toFixed(places).replace(/^-(?=[0.]*$)/, "").replace("-", "−");
}

/** Call ``action`` at most every ``pause`` ms, and once more at the end of a flood of calls. */
function calmly(action, pause = 100) {
  let last = -Infinity, waiting = 0;
  return (...given) => {
    clearTimeout(waiting);
    const now = performance.now(), run = () => { last = performance.now(); action(...given); };
    if (now - last >= pause) run(); else waiting = setTimeout(run, pause - (now - last));
  };
}

/** What a page says where not every row of ``runs`` is shown, as they are long; empty where every one is. */
function thinned(runs, told) {
  return runs.filter((run) => run.each > 1)
    .map((run) => `${run.letter && runs.length > 1 ? `${run.letter}: ` : ""}${told} of every ${fixed(run.each * run.interval, 2)} s`).join("; ");
}

class Ground {
  constructor(raw) {
    Object.assign(this, raw);
    const numbers = new Uint16Array(bytes(raw.heights).buffer);
    this.z = Float32Array.from(numbers, (number) => raw.low + raw.height_step * number);
  }

  /** Height [m] at (x, y), bilinear between nodes, level beyond the border. */
  height(x, y) {
    const u = clamped((x - this.x0) / this.dx, 0, this.nx - 1);
    const v = clamped((y - this.y0) / this.dy, 0, this.ny - 1);
    const i = Math.min(Math.floor(u), this.nx - 2), j = Math.min(Math.floor(v), this.ny - 2);
    const a = u - i, b = v - j, at = i * this.ny + j, z = this.z;
    const near = z[at] + b * (z[at + 1] - z[at]);
    const far = z[at + this.ny] + b * (z[at + this.ny + 1] - z[at + this.ny]);
    return near + a * (far - near);
  }
}

class Run {
  constructor(raw, channels, grounds) {
    Object.assign(this, raw, { ground: grounds[raw.ground] });
    this.time = floats(raw.time);
    this.condition = bytes(raw.condition);
    this.channels = new Map(channels.map((channel) => [channel.name, floats(raw.channels[channel.name])]));
    this.places = new Map();
    this.perWheel = new Map(channels.map((channel) => [channel.name, channel.wheel]));
  }

  /** Last row that is not after ``time``; the first one before the run began. */
  row(time) {
    let low = 0, high = this.time.length - 1;
    const sought = Math.fround(time); // as the rows' times are, or a jump to a row would show the one before
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (this.time[middle] <= sought) low = middle; else high = middle - 1;
    }
    return low;
  }

  at(name, row, wheel = 0) {
    const values = this.channels.get(name);
    return this.perWheel.get(name) ? values[row * this.wheels.length + wheel] : values[row];
  }

  /** A place or an angle between two rows; angles take the shorter way. */
  between(name, time, wheel = 0, angle = false) {
    const row = this.row(time), next = Math.min(row + 1, this.time.length - 1);
    const first = this.at(name, row, wheel), second = this.at(name, next, wheel);
    if (row === next) return first;
    const share = clamped((time - this.time[row]) / (this.time[next] - this.time[row]), 0, 1);
    let step = second - first;
    if (angle) step -= 2 * Math.PI * Math.round(step / (2 * Math.PI));
    return first + share * step;
  }

  conditionOf(row, wheel) {
    return this.condition[row * this.wheels.length + wheel];
  }

  /** A value of a channel in as many decimals as three digits of its largest one need, and ``more``. */
  say(name, value, more = 0) {
    if (!this.places.has(name)) {
      let most = 0;
      for (const one of this.channels.get(name)) if (Math.abs(one) > most && Number.isFinite(one)) most = Math.abs(one);
      this.places.set(name, clamped(2 - Math.floor(Math.log10(most || 1)), 0, 9));
    }
    return fixed(value, this.places.get(name) + more);
  }

  /** Radius [m] of a wheel, which is less once its tyre is off. */
  radiusOf(wheel, time) {
    return this.wheels[wheel].radii.findLast(([from]) => time >= from)?.[1] ?? this.wheels[wheel].radius;
  }

  get title() {
    return this.letter ? `${this.letter}: ${this.name}` : this.name;
  }
}
