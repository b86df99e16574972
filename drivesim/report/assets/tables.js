// Tables that can be sorted and filtered, and buttons that copy a text; without scripts both are plain.

const CONDITION = /^(.+?)\s*(<=|>=|<|>|=)\s*([-−+]?[\d.]+(?:e[-−+]?\d+)?)$/i;
const MEETS = { "<": (a, b) => a < b, ">": (a, b) => a > b, "<=": (a, b) => a <= b, ">=": (a, b) => a >= b, "=": (a, b) => a === b };
const MOST_ASKED = 200; // letters
const withoutUnit = (name) => name.replace(/ \[.*/, "");
const numberIn = (text) => Number.parseFloat(text.replaceAll("−", "-"));

class SortedTable {
  constructor(table, number) {
    this.body = table.tBodies[0];
    this.rows = [...this.body.rows];
    this.heads = [...table.tHead.rows[0].cells];
    this.names = this.heads.map((head) => head.textContent.toLowerCase());
    this.texts = this.rows.map((row) => [...row.cells].map((cell) => cell.textContent));
    this.words = Number(table.dataset.words);
    this.heads.forEach((head, column) => {
      if (!head.textContent) return;
      const button = make("button", { type: "button", title: "Sort" }, head.textContent);
      button.addEventListener("click", () => this.sort(column));
      head.replaceChildren(button);
    });
    this.field = make("input", { type: "text", id: `filter-${number}`, autocomplete: "off", spellcheck: "false", maxlength: MOST_ASKED });
    this.field.addEventListener("input", () => this.filter());
    this.count = make("span", { role: "status", class: "hint" });
    const example = this.example();
    table.parentElement.before(make("div", { class: "bar" }, make("label", { for: this.field.id }, "Show rows with"), this.field,
      this.count, make("span", { class: "hint" }, `Words${example}; commas between several.`)));
    this.filter();
  }

  /** How a condition is written, with a column of this table and a number that some of its rows stay below. */
  example() {
    for (let column = this.names.length - 1; column >= 0; column--) {
      const name = withoutUnit(this.names[column]);
      if (!name || name.includes(",") || this.columnOf(name) !== column || !this.isNumeric(column)) continue;
      const cells = this.texts.map((texts) => texts[column]).filter((text) => !Number.isNaN(numberIn(text)));
      cells.sort((a, b) => numberIn(a) - numberIn(b));
      const least = numberIn(cells[0]), middle = cells[Math.floor(cells.length / 2)], most = cells.at(-1);
      if (numberIn(most) > least) return `, or a column and a number such as "${name} < ${(numberIn(middle) > least ? middle : most).split(" ")[0]}"`;
    }
    return "";
  }

  /** The column that words name, with or without its unit; else the first with these words in its name. */
  columnOf(words) {
    const own = this.names.findIndex((name) => name === words || withoutUnit(name) === words);
    return own >= 0 ? own : this.names.findIndex((name) => name.includes(words));
  }

  isNumeric(column) {
    const keys = this.texts.map((texts) => numberIn(texts[column]));
    return keys.some((key) => !Number.isNaN(key)) && this.texts.every((texts, row) => !Number.isNaN(keys[row]) || texts[column] === "–");
  }

  /** Sort by a column: once upwards, then downwards; rows without a value stay last. */
  sort(column) {
    const head = this.heads[column], down = head.getAttribute("aria-sort") === "ascending";
    for (const other of this.heads) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const keys = this.texts.map((texts) => numberIn(texts[column]));
    const numeric = this.isNumeric(column);
    const order = this.rows.map((_, row) => row).sort((a, b) => {
      if (!numeric) return this.texts[a][column].localeCompare(this.texts[b][column]) * (down ? -1 : 1) || a - b;
      if (Number.isNaN(keys[a]) || Number.isNaN(keys[b])) return Number.isNaN(keys[a]) - Number.isNaN(keys[b]) || a - b;
      return (keys[a] - keys[b]) * (down ? -1 : 1) || a - b;
    });
    this.body.append(...order.map((row) => this.rows[row]));
  }

  filter() {
    const asked = this.field.value.toLowerCase().split(",").map((part) => part.trim()).filter(Boolean).map((part) => this.condition(part));
    let count = 0;
    this.rows.forEach((row, index) => {
      row.hidden = !asked.every((met) => met(this.texts[index]));
      if (!row.hidden) count += 1;
    });
    this.count.textContent = `${count} of ${this.rows.length} rows`;
  }

  condition(part) {
    const found = CONDITION.exec(part);
    const column = found ? this.columnOf(found[1].trim()) : -1;
    if (column < 0) return (texts) => texts.some((text) => text.toLowerCase().includes(part));
    return (texts) => MEETS[found[2]](numberIn(texts[column]), numberIn(found[3]));
  }
}

/** Put a button over a text that copies it. */
function offerCopy(details) {
  const text = details.querySelector("pre"), told = make("span", { role: "status", class: "hint" });
  const button = make("button", { type: "button", "aria-label": `Copy: ${details.querySelector("summary").textContent}` }, "Copy");
  button.addEventListener("click", async () => {
    told.textContent = (await copied(text)) ? "copied" : "selected; copy it with the keyboard";
  });
  text.before(make("div", { class: "bar" }, told, button));
}

/** Copy a text, or at least select it where the browser does not let a page copy; tells whether it is copied. */
async function copied(element) {
  try {
    await navigator.clipboard.writeText(element.textContent);
    return true;
  } catch {
    getSelection().selectAllChildren(element);
    return document.execCommand("copy");
  }
}
