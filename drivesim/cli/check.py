"""``drivesim check``: every mistake with its line, or every value in SI."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

import click

from drivesim.cli import options
from drivesim.errors import DrivesimError


@click.command(
    "check",
    cls=options.Command,
    examples=(
        "drivesim check scenarios/slab_edge.yaml",
        "drivesim check scenarios/studies/closed_or_locked.yaml",
        "drivesim check --schema > drivesim.schema.json",
    ),
    more="docs/scenarios.md: what a scenario may hold, with units and defaults",
)
@click.argument("scenario", required=False, type=options.InputFile("a scenario, or a file of many runs"))
@click.option("--schema", is_flag=True, help="Print the JSON Schema of scenario files, for editors.")
@options.as_json
@options.quiet
def command(scenario: Path | None, schema: bool, as_json: bool, quiet: bool) -> None:
    """Check SCENARIO and the files it includes; print its resolved values in SI, defaults spelled out.

    Comment lines at the end tell what follows from them: copper by layers, torque at standstill, slopes, loads, heat.
    A file for compare, sweep or tune is checked whole, and told how many runs it asks for.  Writes nothing.
    """
    from drivesim.cli.console import clean, print_json, say
    from drivesim.scenario import json_schema, load_scenario, resolved, to_yaml
    from drivesim.scenario.study import study_kind

    if schema == (scenario is not None):
        raise DrivesimError("drivesim check: needed: either a SCENARIO, or --schema")
    if schema:
        print_json(json_schema())
        return
    assert scenario is not None
    if kind := study_kind(scenario):
        words = asked_for(kind, scenario)
        if as_json:
            print_json({"kind": kind, "asks_for": words})
        elif not quiet:
            say(f"good: {words}")
        return
    loaded = load_scenario(scenario)
    from drivesim.analysis.derived import derived
    from drivesim.cli.mistakes import told_where_written
    from drivesim.cli.tables import derived_lines
    from drivesim.engine.build import build

    with told_where_written(scenario):
        model = build(loaded)
    if as_json:
        print_json(resolved(loaded) | {"derived": derived(model)})
        return
    if quiet:
        return
    text = to_yaml(loaded)
    click.echo(
        clean(text) if sys.stdout.isatty() else text, nl=False
    )  # in a file the values stay as they are
    for line in derived_lines(derived(model)):
        say(f"# {line}")
    say(f"# good: step {model.step * 1e6:.0f} µs ({model.step_reason})")


def asked_for(kind: str, path: Path) -> str:
    """Return in words what a file of many runs asks for.  Raises ScenarioError with file and line."""
    words, spread = {"compare": _comparison, "sweep": _sweep, "tune": _tuning}[kind](path)
    return f"{words}; parts drawn: {', '.join(spread)}" if spread else words


def _comparison(path: Path) -> tuple[str, Iterable[str]]:
    from drivesim.study.compare import plan

    planned = plan(path)
    names, grounds = list(planned.scenarios), planned.study.grounds
    words = f"compare {len(names)} cases over {grounds} grounds, {planned.runs} runs: {', '.join(names)}"
    return words, planned.study.spread


def _sweep(path: Path) -> tuple[str, Iterable[str]]:
    from drivesim.study.sweep_setup import load_sweep

    setup = load_sweep(path)
    designs, grounds = len(setup.design), len(setup.seeds)
    words = f"sweep {designs} designs over {grounds} grounds, {designs * grounds} runs: {', '.join(setup.study.axes)}"
    return words, setup.study.spread


def _tuning(path: Path) -> tuple[str, Iterable[str]]:
    from drivesim.scenario.study import load_study
    from drivesim.scenario.tune_file import TuneFile
    from drivesim.tuning.problem import problem_of

    problem = problem_of(load_study(path, TuneFile))
    study = problem.study
    words = (
        f"tune on {study.training} grounds, held out are {study.grounds}: {', '.join(problem.space.paths)}"
    )
    return words, study.spread
