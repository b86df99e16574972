// Marks of a chart's dots and samples of its lines: each row of dots has a shape of its own besides its colour.

const SHAPES = {
  o: null,
  s: [[-1, -1], [1, -1], [1, 1], [-1, 1]],
  "^": [[0, -1.2], [1.15, 0.9], [-1.15, 0.9]],
  D: [[0, -1.35], [1.35, 0], [0, 1.35], [-1.35, 0]],
  v: [[0, 1.2], [1.15, -0.9], [-1.15, -0.9]],
  x: [[-1.1, -0.7], [-0.7, -1.1], [0, -0.4], [0.7, -1.1], [1.1, -0.7], [0.4, 0], [1.1, 0.7], [0.7, 1.1], [0, 0.4], [-0.7, 1.1], [-1.1, 0.7], [-0.4, 0]],
};

/** Add a mark of half the width ``size`` around (x, y) to a path. */
function addMark(path, shape, x, y, size) {
  const corners = SHAPES[shape];
  if (!corners) {
    path.moveTo(x + size, y);
    path.arc(x, y, size, 0, 2 * Math.PI);
    return;
  }
  corners.forEach(([u, v], index) => (index ? path.lineTo(x + u * size, y + v * size) : path.moveTo(x + u * size, y + v * size)));
  path.closePath();
}

/** A line or a mark as it is drawn, for keys. */
function sampleOf(line) {
  const picture = draw("svg", { width: 26, height: 12, "aria-hidden": "true" });
  if (!line.dots) {
    picture.append(draw("line", { x1: 0, x2: 26, y1: 6, y2: 6, stroke: line.colour, "stroke-width": 2, "stroke-dasharray": line.dash.join(" ") || "none" }));
  } else if (SHAPES[line.mark]) {
    picture.append(draw("polygon", { points: SHAPES[line.mark].map(([u, v]) => `${13 + 4 * u},${6 + 4 * v}`).join(" "), fill: line.colour }));
  } else {
    picture.append(draw("circle", { cx: 13, cy: 6, r: 4, fill: line.colour }));
  }
  return picture;
}
