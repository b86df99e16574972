// Put the page of a study together from its data.

const data = JSON.parse(document.getElementById("data").textContent);

for (const part of document.querySelectorAll(".live")) part.hidden = false;
for (const place of document.querySelectorAll("[data-chart]")) new Plotter(data.charts[Number(place.dataset.chart)], place);
document.querySelectorAll("table.tools").forEach((table, index) => new SortedTable(table, index + 1));
document.querySelectorAll("details.text").forEach(offerCopy);
