"""The sheet to print, with blanks for the fifteen numbers, and the same as a page of the manual; imports the table.

python -m drivesim.scenario.starter_sheet > docs/sheet.md
"""

from __future__ import annotations

import sys
from html import escape

from drivesim.scenario.starter import MEASURES, SAFETY

_STYLE = """
@page { margin: 12mm }
* { box-sizing: border-box }
body { font: 10pt/1.3 "DejaVu Sans", Verdana, sans-serif; color: #222; background: #fff; max-width: 270mm;
  margin: 1em auto; padding: 0 1em }
h1 { font-size: 15pt; margin: 0 0 .3em }
p, ul { margin: .3em 0 } ul { padding-left: 1.3em }
.safety { border: 1.5pt solid #222; padding: .3em .8em }
.fill span { display: inline-block; width: 11em; border-bottom: .75pt solid #222; margin-right: 1em }
table { border-collapse: collapse; width: 100%; margin: .6em 0 }
caption { text-align: left; padding: .2em 0 }
th, td { border: .5pt solid #555; padding: .25em .4em; text-align: left; vertical-align: top }
thead th { background: #f3f0eb }
tbody th { width: 17% } th small { font-weight: normal }
.n { width: 2em; text-align: right } .blank { width: 13% } .unit { white-space: nowrap }
small { font-size: 8.5pt; color: #444 }
@media screen and (max-width: 45em) { thead { display: none }
  table, caption, tbody, tr, tbody th, td { display: block; width: auto !important; border: 0; text-align: left }
  tr { border-bottom: .75pt solid #555; padding: .4em 0 } .n { font-weight: bold; text-align: left }
  .blank { height: 2em; border-bottom: .75pt solid #222 } td.unit { display: inline-block }
  .unit + .unit::before { content: "invented: " } }
@media print { body { font-size: 8.5pt; margin: 0; padding: 0; max-width: none } small { font-size: 7.5pt }
  thead { display: table-header-group } tr { break-inside: avoid } thead th { background: none } }
""".strip()

_PAGE = """\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{name}: fifteen numbers to measure</title>
<style>
{style}
</style>
</head>
<body>
<main>
<h1>{name}: fifteen numbers to measure</h1>
<p class="fill">Measured by <span>&nbsp;</span> Date <span>&nbsp;</span> Air temperature <span>&nbsp;</span></p>
<div class="safety">
<p><strong>Before you begin</strong></p>
<ul>
{safety}
</ul>
</div>
<table>
<caption>Write each number with its unit, as rover.yaml takes it.
The invented value is what stands there until then.</caption>
<thead>
<tr><th scope="col" class="n">No.</th><th scope="col">What</th><th scope="col">How</th>
<th scope="col" class="blank">Your number</th><th scope="col">Unit</th><th scope="col">Invented</th></tr>
</thead>
<tbody>
{rows}
</tbody>
</table>
<p>Copy from labels and data sheets: capacity and C rate of a cell, temperature limit of board and magnets,
on-resistance of a driver's switch, the gains in the firmware. Measure your ground: height of the step, slope,
way from lump to lump.</p>
</main>
</body>
</html>
"""

_ROW = """\
<tr><td class="n">{number}</td><th scope="row">{words}<br><small>{instrument}</small></th>
<td>{how}{caution}<br><small>{key}; if wrong: {wrong}</small></td>
<td class="blank">&nbsp;</td><td class="unit">{unit}</td><td class="unit">{value}</td></tr>"""

_MANUAL = """\
# Fifteen numbers to measure

`drivesim new` writes this list as `sheet.html`, a page to print with room for your numbers, beside the files that take
them. The [quick start](quick_start.md) says which of them matter most; how to measure motor, heat and cells more
closely is told [on the bench](bench.md).

{safety}

| no. | what | how | with | unit | if wrong |
| --- | --- | --- | --- | --- | --- |
{rows}

The dotted names, as under `change:` of a scenario, and the invented values that `drivesim new` writes:

| no. | in the file | invented |
| --- | --- | --- |
{paths}
"""


def sheet_html(name: str) -> str:
    """Return the sheet of the rover ``name`` as a page that needs nothing else."""
    rows = [
        _ROW.format(
            number=number,
            words=escape(m.words),
            instrument=escape(m.instrument),
            how=escape(m.how),
            caution=f" <strong>{escape(m.caution)}</strong>" if m.caution else "",
            key=escape(m.path.removeprefix("rover.")),
            wrong=escape(m.wrong),
            unit=escape(m.unit or "none"),
            value=escape(m.value),
        )
        for number, m in enumerate(MEASURES, start=1)
    ]
    safety = "\n".join(f"<li>{escape(line)}</li>" for line in SAFETY)
    return _PAGE.format(name=escape(name), style=_STYLE, safety=safety, rows="\n".join(rows))


def sheet_markdown() -> str:
    """Return the list as a page of the manual."""
    rows = [
        f"| {number} | {m.words} | {m.how}{f' **{m.caution}**' if m.caution else ''} | {m.instrument} "
        f"| {m.unit or 'none'} | {m.wrong} |"
        for number, m in enumerate(MEASURES, start=1)
    ]
    paths = [f"| {number} | `{m.path}` | {m.value} |" for number, m in enumerate(MEASURES, start=1)]
    safety = "\n".join(f"- {line}" for line in SAFETY)
    return _MANUAL.format(
        safety=safety,
        rows="\n".join(row.replace("*", r"\*").replace(r"\*\*", "**") for row in rows),
        paths="\n".join(paths),
    )


if __name__ == "__main__":
    sys.stdout.write(sheet_markdown())
