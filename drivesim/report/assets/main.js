// Put the page together from its data.

const data = JSON.parse(document.getElementById("data").textContent);
const runs = data.runs.map((raw) => new Run(raw, data.channels));
const clock = new Clock(Math.max(...runs.map((run) => run.end)));

for (const section of document.querySelectorAll(".live")) section.hidden = false;
new Player(document.getElementById("player"), data, runs, clock);
new Charts(document.getElementById("charts"), data, runs, clock);
for (const cell of document.querySelectorAll("td[data-time]")) {
  cell.replaceChildren(make("button", { type: "button", "data-jump": cell.dataset.time }, cell.textContent));
}
clock.jump(0);
