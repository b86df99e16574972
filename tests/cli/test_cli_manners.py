"""Manners that all commands share: options, help, exit codes, pipes, terminals, signals, completion."""

from __future__ import annotations

import contextlib
import importlib
import io
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest
from rich.text import Text

from drivesim import plots
from drivesim.cli import console, options, progress
from drivesim.cli.main import COMMANDS, cli, main

ROOT = Path(__file__).parents[2]
SHORT = "base: scenarios/bench_start.yaml\nname: short\nduration: 0.1 s\n"
HOSTILE = "[bold red]x[/] [/nope] \x1b[31mred\x1b]0;title\x07 \x9b31m \u202eback :smile:"
STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def commands() -> dict[str, click.Command]:
    """The commands whose help and options are made by cli.options."""
    found = {name: importlib.import_module(f"drivesim.cli.{name}").command for name in COMMANDS}
    return {name: command for name, command in found.items() if isinstance(command, options.Command)}


@pytest.fixture
def place(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    (tmp_path / "short.yaml").write_text(SHORT, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def call(*words):
    """Run the command in this process; return exit code, standard output and standard error."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as stop:
        main([str(word) for word in words])
    return int(stop.value.code or 0), out.getvalue(), err.getvalue()


# --- options and help


def test_styles_are_told_as_the_pictures_know_them():
    assert options.STYLES == plots.STYLES


def test_shared_options_read_alike_in_every_help_and_stand_in_one_order():
    order = ["--output", "--force", "--no-pictures", "--style", "--csv", "--json", "--quiet"]
    texts: dict[str, set[str]] = {}
    for name, command in commands().items():
        output = [max(p.opts, key=len) for p in command.params if isinstance(p, options.Output)]
        assert output == [option for option in order if option in output], name
        for param in command.params:
            if isinstance(param, click.Option) and name not in ("new", "report"):  # these write other things
                texts.setdefault(max(param.opts, key=len), set()).add(re.sub(r" \[default.*", "", param.help))
    for option in ("--force", "--no-pictures", "--style", "--json", "--quiet", "--jobs"):
        assert len(texts[option]) == 1, option
    missing = {
        name: {"--json", "--quiet"} - {o for p in c.params for o in p.opts} for name, c in commands().items()
    }
    assert {name for name, lacks in missing.items() if lacks} <= {"completion"}


@pytest.mark.parametrize("columns", [60, 80, 100])
def test_help_fits_the_terminal_and_tells_examples_and_exit_codes(columns):
    for name, command in commands().items():
        ctx = click.Context(command, info_name=f"drivesim {name}", terminal_width=columns)
        text = command.get_help(ctx)
        wide = [line for line in text.splitlines() if len(line) > columns]
        values = [option.make_metavar(ctx) for option in command.params]  # as long as what may be chosen
        wide = [line for line in wide if not any(value in line for value in values if len(value) > 40)]
        assert {line.strip() for line in wide} <= set(command.examples)  # a line to be pasted stays whole
        assert all(len(line) <= 78 for line in command.examples)
        assert "``" not in text
        assert all(f"\n  {line}" in text for line in command.examples)
        assert re.search(r"Exit codes:\n  0 +done\n", text)
        for page in re.findall(r"docs/\w+\.md", command.more):
            assert (ROOT / page).is_file(), page
    assert "Exit codes:" in cli.get_help(click.Context(cli, info_name="drivesim"))


def test_examples_can_be_pasted(monkeypatch):
    """Each is read by the command that it is for, and its files are there; docs and other tests run alike ones."""
    monkeypatch.chdir(ROOT)
    for name, command in commands().items():
        assert command.examples, name
        for line in command.examples:
            words = shlex.split(line.removeprefix('eval "$(').replace(')"', ""), comments=True)
            words = words[: next((i for i, word in enumerate(words) if word in (">", "|")), len(words))]
            assert words[:2] == ["drivesim", name]
            with command.make_context(name, words[2:]) as ctx:
                values = [v if isinstance(v, tuple) else (v,) for v in ctx.params.values()]
            paths = [each for value in values for each in value if isinstance(each, Path)]
            assert all(path.is_file() for path in paths if path.parts[0] == "scenarios"), line


def test_help_imports_nothing_heavy():
    heavy = {
        "numba",
        "numpy",
        "scipy",
        "matplotlib",
        "xarray",
        "pandas",
        "pint",
        "pydantic",
        "rich",
        "yaml",
        "jinja2",
    }
    code = (
        "import sys; from drivesim.cli.main import COMMANDS, cli\n"
        "for words in ([], *([name] for name in COMMANDS)):\n"
        "    cli([*words, '--help'], standalone_mode=False)\n"
        f"    print('#', words, *sorted({heavy!r} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    told = [line for line in done.stdout.splitlines() if line.startswith("# [")]
    assert len(told) == len(COMMANDS) + 1
    assert [line for line in told if not line.endswith("]")] == []


# --- mistakes on the command line


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["cmopare"], "no such command 'cmopare'; nearest is compare\n"),
        (["run", "--jsn", "short.yaml"], "drivesim run: no such option --jsn; nearest is --json\n"),
        (["run"], "drivesim run: SCENARIO is missing\nUsage: drivesim run [OPTIONS] SCENARIO\n"),
        (
            ["run", "a.yaml", "b.yaml"],
            "drivesim run: takes one SCENARIO, found more: b.yaml; run them one by one, or hold them against each "
            "other with drivesim compare\n",
        ),
        (["compare", "--grounds", "x", "a", "b"], "--grounds: found 'x', needed: a whole number of at least 1\n"),
        (["run", "scenarios"], "scenarios: found a folder, needed: a scenario\n"),
        (["run", "done"], "done: found a folder, needed: a scenario, such as done/scenario.yaml\n"),
        (["run", "-"], "found standard input, needed: the path of a scenario; it names files beside itself\n"),
        (["run", "short.yaml", "-o", ""], "--output: found no name, needed: a folder\n"),
        (["size", "--cells", "0", "short.yaml"], "--cells: found '0', needed: a whole number of at least 1\n"),
        (["completion", "tcsh"], "SHELL: found 'tcsh', allowed: bash, zsh, fish\n"),
        (["check"], "drivesim check: needed: either a SCENARIO, or --schema\n"),
        (["sweep", "--jobs", "\x1b[31m", "x"], "--jobs: found '\ufffd[31m', needed: a whole number from 1 to 1024\n"),
    ],
)  # fmt: skip
def test_a_mistake_on_the_command_line(place, words, told):
    (place / "done").mkdir()
    (place / "done" / "scenario.yaml").write_text(SHORT)
    assert call(*words) == (2, "", told)


def test_without_a_command_the_help_is_shown():
    code, out, err = call()
    assert (code, out) == (2, "")
    assert "Commands:" in err


def test_version_tells_what_it_computes_with():
    code, out, _ = call("--version")
    assert code == 0
    assert re.fullmatch(r"drivesim \d\S+\nPython 3\S+, numba \S+, numpy \S+, scipy \S+\n", out)


# --- what is printed


@pytest.fixture
def hostile(place):
    """Scenarios and studies whose every free text wants to steer the terminal."""
    name = json.dumps(HOSTILE)
    (place / "hostile.yaml").write_text(f"{SHORT.replace('short', name)}question: {name}\n", encoding="utf-8")
    study = f"name: {name}\nquestion: {name}\nscenario: {{base: hostile.yaml}}\ngrounds: 2\n"
    (place / "cases.yaml").write_text(
        f"{study}cases:\n  {name}: {{}}\n  b: {{rover.mass: 900 g}}\n", encoding="utf-8"
    )
    axes = f"axes:\n  rover.mass: {{from: 500 g, to: 900 g, count: 2, label: {name}}}\n"
    (place / "axes.yaml").write_text(study + axes, encoding="utf-8")
    quick = (ROOT / "scenarios" / "studies" / "tune_quick.yaml").read_text(encoding="utf-8")
    quick = re.sub("(name|question): .*", lambda found: f"{found[1]}: {name}", quick)
    tune = quick.replace("../", "scenarios/").replace("duration: 2 s", "duration: 0.5 s")
    (place / "tune.yaml").write_text(tune, encoding="utf-8")
    (place / "log[red].csv").write_bytes((ROOT / "scenarios" / "bench" / "no_load.csv").read_bytes())
    return place


CALLS = {
    "run": ["hostile.yaml", "--no-pictures"],
    "check": ["hostile.yaml"],
    "check study": ["cases.yaml"],
    "compare": ["cases.yaml", "--no-pictures"],
    "sweep": ["axes.yaml", "--no-pictures"],
    "size": ["hostile.yaml"],
    "tune": ["tune.yaml", "--no-pictures"],
    "fit": ["scenarios/rovers/crawler.yaml", "log[red].csv", "--bootstrap", "0"],
}


@pytest.mark.parametrize("name", CALLS)
def test_texts_of_users_steer_nothing_and_json_is_json(hostile, name, monkeypatch):
    verb = name.split()[0]
    if place := {"size": "drivesim.sizing.size", "tune": "drivesim.tuning.tune"}.get(name):
        module, done = importlib.import_module(place), []
        work = getattr(module, name)

        def once(*words, **settings):  # takes seconds, and is the same each time
            if not done:
                done.append(work(*words, **settings))
            return done[0]

        monkeypatch.setattr(module, name, once)
    code, out, err = call(verb, *CALLS[name])
    assert (code, err) == (0, "")
    kept = "\u202e" if name == "check" else "\0"  # values that can be run again, in a pipe
    assert STEERING.findall(out.replace(kept, "")) == []
    if name == "fit":
        assert "log[red]" in out
    else:
        assert "[bold red]x[/] [/nope]" in " ".join(out.split()).replace("\\e", "").replace("\\x", "")
        assert ":smile:" in out or "smile" not in out
    code, out, err = call(verb, *CALLS[name], "--json")
    assert (code, err) == (0, "")

    def refuse(constant):
        raise AssertionError(constant)

    assert isinstance(json.loads(out, parse_constant=refuse), dict)
    assert STEERING.findall(out) == []
    assert call(verb, *CALLS[name], "--quiet") == (0, "", "")


def test_json_knows_no_number_that_is_none(capsys):
    console.print_json({"a": [float("nan"), float("inf"), 1.5], "b": (-float("inf"),), "c": "\x9b31m"})
    out = capsys.readouterr().out
    assert json.loads(out) == {"a": [None, None, 1.5], "b": [None], "c": "\x9b31m"}
    assert "\x9b" not in out


def test_a_narrow_terminal_loses_no_cell(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "60")
    made = console.table("", *(f"column {i}" for i in range(9)), title="wide [table]")
    path = "rover.wheel.motor.terminal_resistance.and.on.and.on"
    made.add_row(path, *(f"{i}.2345 mN·m" for i in range(9)))
    console.show(console.console(), made)
    out = capsys.readouterr().out
    assert all(f"{i}.2345 mN·m" in out for i in range(9))
    assert "…" not in out
    assert "wide [table]" in out
    assert max(map(len, out.splitlines())) <= 60
    assert path in "".join(line[: line.find("  ")] if "  " in line else line for line in out.splitlines())


# --- terminals and pipes


def on_terminal(monkeypatch, environment, print_it) -> str:
    """Return what ``print_it`` writes to a terminal as standard output and error."""
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    here, there = os.openpty()
    with open(there, "w", encoding="utf-8") as terminal:
        monkeypatch.setattr(sys, "stdout", terminal)
        monkeypatch.setattr(sys, "stderr", terminal)
        print_it()
        terminal.flush()
        monkeypatch.undo()
        text = os.read(here, 65536).decode()
    os.close(here)
    return text


def printed():
    console.console().print(Text("! caution", style="yellow"))


@pytest.mark.parametrize(
    ("environment", "coloured"),
    [
        ({"TERM": "xterm-256color"}, True),
        ({"TERM": "xterm-256color", "NO_COLOR": "1"}, False),
        ({"TERM": "xterm-256color", "NO_COLOR": ""}, True),
        ({"TERM": "dumb"}, False),
    ],
)
def test_colour_on_a_terminal(monkeypatch, environment, coloured):
    assert ("\x1b[33m" in on_terminal(monkeypatch, environment, printed)) is coloured


def test_colour_in_a_pipe_only_if_forced(monkeypatch, capsys):
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.delenv("FORCE_COLOR", raising=False)
    printed()
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    printed()
    plain, coloured = capsys.readouterr().out.splitlines()
    assert "\x1b" not in plain
    assert "\x1b[33m" in coloured


@pytest.mark.parametrize(
    ("environment", "quiet", "shown"),
    [({"TERM": "xterm"}, False, True), ({"TERM": "xterm"}, True, False), ({"TERM": "dumb"}, False, False)],
)
def test_progress_is_for_terminals_that_can_go_back(monkeypatch, environment, quiet, shown):
    def work():
        with progress.counted(3, quiet=quiet) as report:
            report(2)
        print("done")

    assert ("runs" in on_terminal(monkeypatch, environment, work)) is shown


def test_progress_is_silent_in_a_pipe_with_colour_too(monkeypatch, capsys):
    monkeypatch.setenv("FORCE_COLOR", "1")
    with progress.counted(3) as report, progress.working("fitting", "{} times") as tick:
        report(2)
        tick()
    assert capsys.readouterr().err == ""


PIPES = {
    "click": "from drivesim.cli.main import main; main(['check', '--schema'])",
    "rich": (
        "import click; from drivesim.cli import main; from drivesim.cli.console import console\n"
        "@click.command()\n"
        "def command(): console().print('x' * 100000)\n"
        "main.cli.get_command = lambda ctx, name: command; main.main(['run'])"
    ),
}


@pytest.mark.parametrize("kind", PIPES)
def test_a_closed_pipe_and_a_full_disk_are_no_bar_missed(kind):
    def ended(stdout):
        return subprocess.Popen(
            [sys.executable, "-c", PIPES[kind]], stdout=stdout, stderr=subprocess.PIPE, text=True
        )

    reader, writer = os.pipe()
    os.close(reader)
    process = ended(writer)
    os.close(writer)
    assert (process.communicate(timeout=60)[1], process.returncode) == ("", 141)
    if Path("/dev/full").exists():
        with open("/dev/full", "w") as full:
            process = ended(full)
        told = "output: cannot be written or read (No space left on device)\n"
        assert (process.communicate(timeout=60)[1], process.returncode) == (told, 2)


# --- signals


@pytest.mark.parametrize(("name", "code"), [("SIGINT", 130), ("SIGTERM", 143), ("SIGHUP", 143 - 14)])
def test_a_signal_leaves_nothing_half_written(place, monkeypatch, name, code):
    from drivesim import plots

    def killed(_run, folder, **_options):
        assert folder.is_dir()
        os.kill(os.getpid(), getattr(signal, name))

    monkeypatch.setattr(plots, "write_pictures", killed)
    before = {path.name for path in place.iterdir()}
    told = "interrupted; nothing unfinished was left behind\n"
    assert call("run", "short.yaml", "-o", "out") == (code, "", told)
    assert {path.name for path in place.iterdir()} == before
    assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL


@pytest.mark.parametrize(
    ("words", "found", "needed"),
    [
        (("run", "tune_quick"), "tune", "a scenario"),
        (("sweep", "tune_quick"), "tune", "a file for drivesim sweep, with axes:"),
        (("tune", "closed_or_locked"), "compare", "a file for drivesim tune, with gains:"),
        (("compare", "sweep_quick"), "sweep", "a file for drivesim compare, with cases:"),
        (("compare", "tune_quick", "sweep_quick"), "tune", "a scenario"),
    ],
)
def test_a_file_of_another_command_is_told_in_one_line(place, words, found, needed):
    verb, *names = words
    files = [f"scenarios/studies/{name}.yaml" for name in names]
    told = f"{files[0]}: found a file for drivesim {found}, needed: {needed}\n"
    assert call(verb, *files) == (2, "", told)


def test_a_format_says_nothing_about_a_clip(place):
    assert call("plot", "nowhere", "--clip", "--format", "svg") == (
        2, "", "--format is for pictures, a clip is a GIF always; name pictures with --picture too\n",
    )  # fmt: skip


def test_pictures_cannot_go_into_a_file(place):
    told = "--output: short.yaml is a file, needed: a folder\n"
    assert call("plot", "nowhere", "-o", "short.yaml") == (2, "", told)


def test_a_full_disk_is_one_line_and_leaves_nothing(place, monkeypatch):
    from drivesim import plots

    def full(_run, folder, **_options):
        raise OSError(28, "No space left on device", str(folder / "speeds.png"))

    monkeypatch.setattr(plots, "write_pictures", full)
    code, out, err = call("run", "short.yaml", "-o", "out")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.endswith("speeds.png: cannot be written or read (No space left on device)\n")
    assert {path.name for path in place.iterdir()} == {"scenarios", "short.yaml"}


def test_an_interrupted_comparison_goes_on_where_it_was(hostile, monkeypatch):
    asked = []

    @contextlib.contextmanager
    def pressed(total, **_options):
        def report(done):
            if done == 2:
                os.kill(os.getpid(), signal.SIGTERM)

        asked.append(total)
        yield report

    with monkeypatch.context() as patch:
        patch.setattr(progress, "counted", pressed)
        code, out, err = call("compare", "cases.yaml", "-o", "x", "--no-pictures")
    assert (code, out) == (143, "")
    assert err == "interrupted; finished runs are kept, and the same command goes on from there\n"
    assert (hostile / ".x.unfinished").is_file()
    with monkeypatch.context() as patch:  # also when only the pictures are missing
        patch.setattr("drivesim.plots.compare.write_pictures", lambda *_: signal.raise_signal(signal.SIGINT))
        assert call("compare", "cases.yaml", "-o", "x") == (130, "", err)
    assert (hostile / ".x.unfinished").is_file()
    assert call("compare", "cases.yaml", "-o", "x", "--no-pictures", "-q") == (0, "", "")
    assert not (hostile / ".x.unfinished").exists()


# --- completion


def completed(monkeypatch, shell, words, current):
    """Return the lines that the shell's script gets for the words typed so far."""
    position = current if shell == "fish" else str(len(words.split()) - bool(current))
    out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    environment = {"COMP_WORDS": words, "COMP_CWORD": position, "_DRIVESIM_COMPLETE": f"{shell}_complete"}
    with monkeypatch.context() as patch:
        for name, value in environment.items():
            patch.setenv(name, value)
        patch.setattr(sys, "stdout", out)
        with pytest.raises(SystemExit) as stop:
            main([])
    assert not stop.value.code
    out.seek(0)
    return out.read().splitlines()


def test_bash_completes_scenarios_and_goes_into_a_single_folder(place, monkeypatch):
    found = completed(monkeypatch, "bash", "drivesim run scenarios/rubble_l", "scenarios/rubble_l")
    assert found == ["plain,scenarios/rubble_locked.yaml"]
    inside = completed(monkeypatch, "bash", "drivesim run scen", "scen")
    assert "plain,scenarios/slab_edge.yaml" in inside
    assert not [line for line in inside if line.endswith(".csv")]
    (place / "my rover.yaml").write_text(SHORT)
    assert completed(monkeypatch, "bash", "drivesim run my", "my") == [
        "file,my"
    ]  # the shell knows how to quote
    assert completed(monkeypatch, "bash", "drivesim run -o ru", "ru") == ["dir,ru"]


def test_zsh_completes_commands(monkeypatch):
    assert completed(monkeypatch, "zsh", "drivesim si", "si") == ["plain", "size", COMMANDS["size"]]


def test_fish_completes_logs_and_options(place, monkeypatch):
    words = "drivesim fit scenarios/rovers/crawler.yaml scenarios/bench/l"
    assert completed(monkeypatch, "fish", words, "scenarios/bench/l") == [
        "plain,scenarios/bench/locked_rotor.csv"
    ]
    assert completed(monkeypatch, "fish", "drivesim run --no-p", "--no-p")[0].startswith(
        "plain,--no-pictures"
    )


def test_names_complete_as_they_begin():
    command = click.Command(
        "c", params=[click.Option(["--style"], type=options.Name(lambda: ("dark", "print")))]
    )
    found = command.params[0].shell_complete(click.Context(command), "p")
    assert [item.value for item in found] == ["print"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_for_a_shell(shell):
    code, out, err = call("completion", shell)
    assert (code, err) == (0, "")
    assert f"_DRIVESIM_COMPLETE={shell}_complete" in out
