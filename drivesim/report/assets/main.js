// Put the page together from its data.

const data = JSON.parse(document.getElementById("data").textContent);
const grounds = data.grounds.map((raw) => new Ground(raw));
const runs = data.runs.map((raw) => new Run(raw, data.channels, grounds));
const clock = new Clock(Math.max(...runs.map((run) => run.end)));
const cells = [...document.querySelectorAll("td[data-time]")];
const moments = [...cells.map((cell) => Number(cell.dataset.time)), ...data.runs.flatMap((run) => run.jumps.map((jump) => jump.time))];

for (const section of document.querySelectorAll(".live")) section.hidden = false;
new Player(document.getElementById("player"), data, runs, clock, moments.sort((a, b) => a - b));
new Charts(document.getElementById("charts"), data, runs, clock);
for (const cell of cells) {
  cell.replaceChildren(make("button", { type: "button", "data-jump": cell.dataset.time }, cell.textContent));
}

/** Go to the moment that the address names, as in report.html#t=5.1; tell whether it names one. */
function goToAddress() {
  const found = /^#t=(\d+(?:\.\d+)?)$/.exec(location.hash);
  clock.jump(found ? Number(found[1]) : clock.time);
  return found !== null;
}

window.addEventListener("hashchange", goToAddress);
if (goToAddress()) document.getElementById("playback").scrollIntoView();
