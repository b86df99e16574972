"""``drivesim check``: every mistake with its line, or every value in SI."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import click


@click.command("check")
@click.argument("scenario", type=click.Path(path_type=Path), required=False)
@click.option("--schema", is_flag=True, help="Write the JSON Schema of scenario files, for editors.")
@click.option("--json", "as_json", is_flag=True, help="Print the resolved values as JSON.")
def command(scenario: Path | None, schema: bool, as_json: bool) -> None:
    """Check SCENARIO and the files it includes; print its resolved values in SI, defaults spelled out.

    Comment lines at the end tell what follows from them: copper by layers, torque at standstill, slopes, loads, heat.
    A file for compare, sweep or tune is checked whole, and told how many runs it asks for.

    \b
    drivesim check scenarios/slab_edge.yaml
    drivesim check scenarios/studies/closed_or_locked.yaml
    drivesim check --schema > drivesim.schema.json
    """
    from drivesim.scenario import json_schema, load_scenario, resolved, to_yaml
    from drivesim.scenario.study import study_kind

    if schema == (scenario is not None):
        raise click.UsageError("give a SCENARIO, or --schema")
    if schema:
        click.echo(json.dumps(json_schema(), indent=2))
        return
    assert scenario is not None
    if kind := study_kind(scenario):
        words = asked_for(kind, scenario)
        click.echo(
            json.dumps({"kind": kind, "asks_for": words}, ensure_ascii=False) if as_json else f"good: {words}"
        )
        return
    loaded = load_scenario(scenario)
    from drivesim.analysis.derived import derived
    from drivesim.cli.mistakes import told_where_written
    from drivesim.cli.tables import derived_lines
    from drivesim.engine.build import build

    with told_where_written(scenario):
        model = build(loaded)
    if as_json:
        both = resolved(loaded) | {"derived": derived(model)}
        click.echo(json.dumps(both, indent=2, ensure_ascii=False))
        return
    click.echo(to_yaml(loaded), nl=False)
    for line in derived_lines(derived(model)):
        click.echo(f"# {line}")
    click.echo(f"# good: step {model.step * 1e6:.0f} µs ({model.step_reason})")


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
