"""Tables and texts that ``drivesim fit`` prints; made with rich."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from drivesim.cli.console import filled, show, table
from drivesim.fitting import rows
from drivesim.fitting.result import Fit


def print_fit(out: Console, fit: Fit) -> None:
    """Print the tests, the numbers, the verdict and what to beware of."""
    summary = fit.summary
    show(out, _tests(fit), lead=2)
    out.print()
    show(out, filled(*rows.number_rows(summary), title=rows.NUMBERS_TITLE))
    for line in rows.outlier_lines(summary):
        out.print(line, soft_wrap=True)
    out.print()
    for line in [*rows.verdict_clauses(fit.verdict), *rows.remark_lines(summary)]:
        out.print(line, soft_wrap=True)


def _tests(fit: Fit) -> Table:
    heads, texts = rows.log_rows(fit.summary)
    made = table(*heads[:3], title="tests", left=2)
    made.add_column(heads[3], overflow="fold")
    for row in texts:
        made.add_row(*row)
    return made
