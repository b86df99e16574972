"""All checks, and the text of docs/validation.md made from them."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path

from validation_battery import BATTERY
from validation_beliefs import BELIEFS
from validation_body import BODY
from validation_check import Check, Subject
from validation_copper import COPPER
from validation_forced import FORCED
from validation_ground import ROADS, STEPS
from validation_heat import HEAT
from validation_loops import LOOPS, SPEED
from validation_motor import MOTOR
from validation_runs_drive import BATTERY_RUNS, COPPER_RUNS, FORCED_RUNS, HEAT_RUNS, MOTOR_RUNS, SPEED_RUNS
from validation_runs_rolling import BODY_RUNS, SOIL_RUNS, STEP_RUNS, TURNING_RUNS, TYRE_RUNS
from validation_soil import SOIL, TURNING
from validation_studies import STUDIES
from validation_tyre import TYRE

PAGE = Path(__file__).parents[2] / "docs" / "validation.md"
COMMAND = "python -m pytest tests/validation --write-validation"

SUBJECTS: tuple[Subject, ...] = (
    MOTOR.with_runs(MOTOR_RUNS),
    FORCED.with_runs(FORCED_RUNS),
    COPPER.with_runs(COPPER_RUNS),
    BATTERY.with_runs(BATTERY_RUNS),
    TYRE.with_runs(TYRE_RUNS),
    BODY.with_runs(BODY_RUNS),
    STEPS.with_runs(STEP_RUNS),
    SOIL.with_runs(SOIL_RUNS),
    TURNING.with_runs(TURNING_RUNS),
    ROADS,
    SPEED.with_runs(SPEED_RUNS),
    HEAT.with_runs(HEAT_RUNS),
    LOOPS,
    STUDIES,
)

HEAD = """# Validation

Every figure that drivesim is held against, and what came out. Each row is a test of the suite; this page is
written by

```sh
{command}
```

and the suite fails where the page no longer says what the code computes.

**{passed} of {total} checks pass{failed}**: {published} against published figures, {closed} against closed forms,
{library} against reference libraries. {whole} of them are runs of a whole rover.

How to read the tables:

- *Source*. A book, standard or paper: somebody else's figure, the strongest evidence here. "From memory" means
  that the figure was not looked up again; "looked up" says where it was read. *Closed form*: an exact consequence
  of the stated model. It proves that the code solves its own equations, not that the model is true. *Reference
  library*: the same problem solved by scipy, numpy or python-control.
- *Ours* is printed to four digits, or three where a time step decides the fourth. *By* says whether it comes from
  one equation, from time steps with the same equations, or from a run of a whole rover.
- *May differ* is the tolerance within which the test passes, of the published figure unless it has a unit.

None of this is a measurement of a small rover: no published record of one was found. What the tables cannot show
is whether your numbers are right. Compare one run with your own rover before you trust a figure.
"""

BELIEFS_HEAD = """## What the trade knows

Rules that people who build small rovers go by: common practice, no source. Each is a test that runs whole rovers
and shows that the rule comes out of the model without being put in.

| the rule | test |
| --- | --- |
"""


@cache
def ours(check: Check) -> float:
    """Return what a check computes, once."""
    return float(check.compute())


def row(check: Check) -> str:
    """Return one row of a table."""
    value = ours(check)
    unit = f" {check.unit}" if check.unit else ""
    status = "passed" if check.passes(value) else "**failed**"
    cells = (
        check.what, check.origin, f"{check.printed}{unit}", check.shown(value), check.by, check.tolerance(), status
    )  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def section(subject: Subject) -> str:
    """Return one subject's part of the page."""
    limits = "\n".join(f"- {limit}" for limit in subject.limits)
    rows = "\n".join(row(check) for check in subject.checks)
    return (
        f"## {subject.title}\n\nWhere it stops being valid:\n\n{limits}\n\n"
        f"| what | source | expected | ours | by | may differ | status |\n"
        f"| --- | --- | --- | --- | --- | --- | --- |\n{rows}\n"
    )


def page() -> str:
    """Return the whole page."""
    checks = [check for subject in SUBJECTS for check in subject.checks]
    passed = sum(check.passes(ours(check)) for check in checks)
    failed = "" if passed == len(checks) else f", {len(checks) - passed} fail"
    kinds = Counter(check.kind for check in checks)
    head = HEAD.format(
        command=COMMAND,
        passed=passed,
        total=len(checks),
        failed=failed,
        published=kinds["published"],
        closed=kinds["closed form"],
        library=kinds["reference library"],
        whole=sum(check.by == "whole rover" for check in checks),
    )
    rules = "".join(f"| {belief} | `{test}` |\n" for belief, test in BELIEFS)
    return "\n".join([head, *map(section, SUBJECTS), BELIEFS_HEAD + rules])
