"""Pages of comparisons, tunings, sizings, sweeps and fits: words of the terminal, hostile names, damaged folders."""

from __future__ import annotations

import io
import json
import math
import os
import re
import shutil

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from report_runs import Elements, data_of
from report_studies import HOSTILE, MAKERS, PICTURE, made
from rich.console import Console

from drivesim.cli import compare_tables, fit_tables, size_tables, sweep_tables, tune_tables
from drivesim.cli.main import main
from drivesim.errors import RunError
from drivesim.report import results
from drivesim.report.folder import Folder
from drivesim.report.kinds import page_of

KINDS = list(MAKERS)
PRINTED = {
    "comparison": compare_tables.print_compared, "tuning": tune_tables.print_tuned, "sizing": size_tables.print_sizing,
    "sweep": sweep_tables.print_swept, "fit": fit_tables.print_fit,
}  # fmt: skip


@pytest.fixture(scope="module")
def studies(tmp_path_factory):
    home = tmp_path_factory.mktemp("studies")
    return {kind: made(kind, home) for kind in KINDS}


@pytest.fixture(scope="module")
def pages(studies):
    return {kind: page_of([folder]) for kind, (folder, _) in studies.items()}


def damaged(studies, kind, tmp_path):
    """Return a copy of a study's folder to do harm to."""
    return shutil.copytree(studies[kind][0], tmp_path / "damaged")


def squeezed(text: str) -> str:
    return " ".join(text.split())


class Tables(Elements):
    """The tables of a page: each a list of rows of texts."""

    def __init__(self, page: str) -> None:
        self.tables: list[list[list[str]]] = []
        self.cell = False
        super().__init__(page)

    def handle_starttag(self, tag, attrs):
        super().handle_starttag(tag, attrs)
        self.cell = tag in ("td", "th")
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif self.cell:
            self.tables[-1][-1].append("")

    def handle_endtag(self, tag):
        super().handle_endtag(tag)
        self.cell = self.cell and tag not in ("td", "th")

    def handle_data(self, data):
        super().handle_data(data)
        if self.cell:
            self.tables[-1][-1][-1] += data


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_says_what_the_terminal_says(studies, pages, kind):
    """Every line that the terminal prints stands on the page too, tables cell by cell."""
    out = io.StringIO()
    PRINTED[kind](Console(file=out, width=2000, markup=False, highlight=False), studies[kind][1])
    tables = Tables(pages[kind])
    said = squeezed(tables.text).lower()
    rows = {squeezed(" ".join(row)) for table in tables.tables for row in table}
    missing = []
    for line in out.getvalue().splitlines():
        text = squeezed(re.sub(r"^\s*(! |→ )?", "", line))
        if text and text not in rows and text.lower() not in said:
            missing.append(text)
    # of a sweep, how many runs were done now is nothing that lasts
    assert [text for text in missing if "done now" not in text] == []


@pytest.mark.parametrize("kind", KINDS)
def test_hostile_names_stay_text(pages, kind):
    page = pages[kind]
    found = Elements(page)
    assert all(image["src"].startswith("data:image/png;base64,") for image in found.named("img"))
    assert not any(name.startswith("on") for _, attributes in found.found for name in attributes)
    assert HOSTILE in found.text
    assert len(found.named("script")) == 3
    block = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)[1]
    assert not set("<>&") & set(block)
    if kind not in ("sizing", "tuning"):  # whose lines have names of drivesim's own
        assert HOSTILE in json.dumps(data_of(page), ensure_ascii=False).replace('\\"', '"')


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_needs_nothing_else_and_has_its_picture(pages, kind):
    found = Elements(pages[kind])
    assert len(found.named("img")) == 1
    assert not [a for tag, a in found.found if tag in ("link", "iframe", "object", "base", "a")]
    assert not [a for _, a in found.found if "style" in a]
    policy = next(
        m["content"] for m in found.named("meta") if m.get("http-equiv") == "Content-Security-Policy"
    )
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


@pytest.mark.parametrize("kind", KINDS)
def test_a_folder_without_pictures_says_how_to_draw_them(studies, kind, tmp_path):
    folder = damaged(studies, kind, tmp_path)
    (folder / PICTURE[kind]).unlink()
    found = Elements(page_of([folder]))
    assert found.named("img") == []
    assert "This folder has no pictures; the same drivesim" in found.text


#: files without which a page can be made
NOT_NEEDED = {"comparison": {"runs.nc"}, "sweep": {"table.nc", "study.yaml"}}


@pytest.mark.parametrize("harm", ["deleted", "cut", "emptied"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_missing_or_damaged_file_is_told_in_one_line(studies, kind, harm, tmp_path):
    for file in sorted(studies[kind][0].iterdir()):
        folder = shutil.copytree(studies[kind][0], tmp_path / file.name)
        harmed = folder / file.name
        if harm == "deleted":
            harmed.unlink()
        else:
            whole = file.read_bytes()
            harmed.write_bytes(whole[: len(whole) * 2 // 3].rstrip(b"\n")[:-1] if harm == "cut" else b"")
        spared = file.name in NOT_NEEDED.get(kind, ()) or file.name.startswith("runs-")
        if (spared and (harm == "deleted" or file.suffix != ".yaml")) or (
            harm == "deleted" and file.suffix == ".png"
        ):
            page_of([folder])
            continue
        with pytest.raises(RunError) as told:
            page_of([folder])
        text = str(told.value)
        assert text.startswith(f"{folder}: {file.name} of this {kind}"), text
        assert "\n" not in text


@pytest.mark.parametrize("kind", KINDS)
def test_an_edited_summary_is_told_in_one_line_whatever_key_is_gone(studies, kind, tmp_path):
    folder = damaged(studies, kind, tmp_path)
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    told = []
    for key in summary:
        for changed in ({k: v for k, v in summary.items() if k != key}, summary | {key: 7}):
            (folder / "summary.json").write_text(json.dumps(changed), encoding="utf-8")
            try:
                page_of([folder])
            except RunError as error:
                told.append(str(error))
    assert len(told) > len(summary) / 2  # not every key is shown
    assert all(text.startswith(f"{folder}: ") and "\n" not in text for text in told)


def test_the_command_tells_a_damaged_folder_without_a_traceback(studies, tmp_path, capsys):
    folder = damaged(studies, "tuning", tmp_path)
    (folder / "gains.h").unlink()
    with pytest.raises(SystemExit) as ended:
        main(["report", str(folder)])
    assert ended.value.code == 2
    assert capsys.readouterr().err == f"{folder}: gains.h of this tuning is missing\n"
    assert not (folder / "report.html").exists()


def test_a_sweep_that_was_broken_off_is_told_to_go_on(studies, tmp_path):
    folder = tmp_path / "half"
    folder.mkdir()
    shutil.copy(next(studies["sweep"][0].glob("runs-*.jsonl")), folder)
    with pytest.raises(
        RunError, match=r"half: summary.json of this sweep .* not come to its end; the same 'drivesim sweep'"
    ):
        page_of([folder])


def test_tables_that_do_not_fit_the_summary_are_told(studies, tmp_path):
    """As a folder has that is just being written anew, or a file that was cut between two lines."""
    tables = {
        "sweep": ("table.csv", "sensitivity.csv"), "comparison": ("runs.csv", "differences.csv"),
        "tuning": ("held_out.csv", "tried.csv"), "sizing": ("limits.csv", "loading.csv", "levers.csv"),
        "fit": ("parameters.csv",),
    }  # fmt: skip
    for kind, file in ((kind, file) for kind, files in tables.items() for file in files):
        folder = shutil.copytree(studies[kind][0], tmp_path / kind / file)
        lines = (folder / file).read_text(encoding="utf-8").splitlines(keepends=True)
        (folder / file).write_text("".join(lines[:-1]), encoding="utf-8")
        told = rf"{file} of this {kind} cannot be read \(it has \d+ rows, summary.json tells of {len(lines) - 1}\)"
        with pytest.raises(RunError, match=told):
            page_of([folder])


def test_the_charts_hold_what_the_tables_of_the_folder_hold(studies, pages):
    """Every dot of a comparison, and every mean of a sweep, worked out anew here."""
    found = studies["comparison"][1]
    chart = data_of(pages["comparison"])["charts"][0]
    assert [line["words"] for line in chart["choices"][0]["lines"]] == [HOSTILE, "heavy"]
    assert chart["against"] == 0
    for line in chart["choices"][0]["lines"]:
        assert line["values"] == pytest.approx(
            found.runs["progress"].sel(case=line["words"]).values, rel=1e-4
        )
    assert chart["points"] == [str(seed) for seed in found.runs["ground"].values]
    swept = studies["sweep"][1]
    chart = data_of(pages["sweep"])["charts"][0]
    shown = {choice["title"]: choice["lines"][0]["values"] for choice in chart["choices"]}
    assert shown["time stuck"] == pytest.approx(swept.means("stuck"), rel=1e-4)
    assert shown["energy drawn"] == pytest.approx(swept.means("energy"), rel=1e-4)
    assert chart["across"][0]["values"] == pytest.approx([0.5, 0.5, 0.9, 0.9])
    assert chart["across"][1] == {
        "title": HOSTILE, "unit": "", "values": [0, 1, 0, 1], "words": [HOSTILE, "other"],
    }  # fmt: skip


def test_the_tuning_shows_both_kinds_of_parts_and_the_scale_searched(studies, pages):
    before, looked_at = data_of(pages["tuning"])["charts"]
    titles = [choice["title"] for choice in before["choices"]]
    assert "cost" in titles
    assert "cost (with tolerances)" in titles
    held = studies["tuning"][1].held_out
    own = held[(held["case"] == "tuned") & (held["parts"] == "as drawn")]["circulating_power"]
    shown = before["choices"][titles.index("circulating power [mW]")]["lines"]
    line = next(line for line in shown if line["words"] == "tuned")
    assert line["values"] == pytest.approx(list(own * 1e3), rel=1e-4)
    assert [axis["log"] for axis in looked_at["across"]] == [True, False]


def test_long_tables_and_charts_stay_bounded(studies, monkeypatch):
    monkeypatch.setattr(results, "MOST_ROWS", 3)
    monkeypatch.setattr(results, "MOST_POINTS", 2)
    page = page_of([studies["sweep"][0]])
    assert "The first 3 of 4 designs; 1 more are in table.csv." in page
    chart = data_of(page)["charts"][0]
    assert chart["points"] == ["0", "2"]
    assert "Every 2th is shown." not in page
    assert chart["hint"] == "One of every 2 is shown."
    page = page_of([studies["sizing"][0]])
    lines = studies["sizing"][1].lines.sizes["speed"]
    assert f"The first 3 of {-(-lines // 4)} rows;" in page
    assert len(data_of(page)["charts"][0]["across"][0]["values"]) == 2


def test_many_cases_share_the_dots_of_a_chart(studies, monkeypatch):
    monkeypatch.setattr("drivesim.report.compare_page.MOST_DOTS", 4)
    chart = data_of(page_of([studies["comparison"][0]]))["charts"][0]
    assert [len(line["values"]) for line in chart["choices"][0]["lines"]] == [2, 2]
    assert (chart["points"], chart["hint"]) == (["1001", "1002"], "The first 2 grounds are shown.")


def test_pages_of_great_studies_stay_below_five_megabytes(studies, tmp_path):
    """A sweep of 3,000 designs and a fit of 20,000 readings."""
    folder = damaged(studies, "sweep", tmp_path)
    table = pd.read_csv(folder / "table.csv")
    many = pd.concat([table] * 375, ignore_index=True)
    many["design"], many["ground"] = np.arange(6000) // 2, 1001 + np.arange(6000) % 2
    many.to_csv(folder / "table.csv", index=False)
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8")) | {
        "designs": 3000,
        "grounds": 2,
    }
    (folder / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    page = page_of([folder])
    assert len(page.encode()) < 2e6
    assert "The first 500 of 3000 designs; 2500 more are in table.csv." in page
    fitted = shutil.copytree(studies["fit"][0], tmp_path / "fitted")
    residuals = pd.read_csv(fitted / "residuals.csv")
    longer = residuals.loc[np.tile(residuals.index, math.ceil(20_000 / len(residuals)))]
    longer.to_csv(fitted / "residuals.csv", index=False)
    page = page_of([fitted])
    assert len(page.encode()) < 2e6
    assert "One of every 11 is shown." in page


def test_a_table_keeps_words_numbers_and_what_is_none(tmp_path):
    """A column without a single number is one of numbers that are none; a name of digits stays a name."""
    (tmp_path / "t.csv").write_text(
        "case,far [m],never,yes,why\r\n12,1e-3,,True,\r\n7,,,False,\r\n", encoding="utf-8"
    )
    found = Folder(tmp_path, "comparison").table("t.csv", words=("case", "why"), rows=2)
    assert list(found["case"]) == ["12", "7"]
    assert list(found["far"]) == pytest.approx([1e-3, math.nan], nan_ok=True)
    assert found["never"].isna().all()
    assert list(found["yes"]) == [True, False]
    assert list(found["why"]) == ["", ""]
    assert found.attrs["units"]["far"] == "m"


def test_a_comparison_tells_how_to_look_at_the_runs_it_kept(studies, tmp_path):
    folder = damaged(studies, "comparison", tmp_path)
    assert "to look at" not in page_of([folder])
    for case in ("case_0", "case_1"):
        (folder / "ground_1002" / case).mkdir(parents=True)
        (folder / "ground_1002" / case / "traces.nc").touch()
    told = "Ground 1002 is kept to look at: in this folder, drivesim report ground_1002/case_0 ground_1002/case_1"
    assert told in page_of([folder])
    (folder / "ground_1;reboot" / "case_0").mkdir(parents=True)
    (folder / "ground_1;reboot" / "case_0" / "traces.nc").touch()
    assert "reboot" not in page_of([folder])  # what stands there is copied into a shell


def test_what_never_ends_or_is_too_much_is_refused_at_once(studies, tmp_path, monkeypatch):
    """A pipe, a device, a file and a picture larger than any of drivesim's, and a drawing that is called a picture."""
    folder = damaged(studies, "comparison", tmp_path)
    table, picture = folder / "runs.csv", folder / PICTURE["comparison"]
    whole = table.read_bytes()
    table.unlink()
    os.mkfifo(table)
    refused = r"runs.csv of this comparison cannot be read \(it is no file\)"
    with pytest.raises(RunError, match=refused):
        page_of([folder])
    table.unlink()
    table.symlink_to("/dev/zero")
    with pytest.raises(RunError, match=refused):
        page_of([folder])
    table.unlink()
    table.write_bytes(whole)
    picture.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>', encoding="utf-8")
    with pytest.raises(
        RunError, match=r"differences.png of this comparison cannot be read \(it is no PNG picture\)"
    ):
        page_of([folder])
    Image.new("1", (20_000, 2_001)).save(picture)
    with pytest.raises(RunError, match=r"\(20000 × 2001 pixels are too many\)"):
        page_of([folder])
    Image.new("1", (20_000, 500)).save(picture)
    (shown,) = Elements(page_of([folder])).named("img")
    assert int(shown["width"]) * int(shown["height"]) == pytest.approx(3e6, rel=0.02)
    monkeypatch.setattr("drivesim.report.folder.MOST_BYTES", len(whole) - 1)
    with pytest.raises(RunError, match=r"cannot be read \(it has \d+ MB, a page is made of at most \d+ MB\)"):
        page_of([folder])


def test_what_is_asked_of_a_sizing_is_told_in_one_way(pages):
    """0.2 rad, 11.459 deg: a limit is rounded down, what is asked is not."""
    found = Tables(pages["sizing"])
    limits = {row[0]: row for row in found.tables[0]}
    assert limits["steepest grade"][-1] == "11.5 deg"
    assert "the slope of 11.5 deg" in found.text


def test_a_study_beside_a_run_is_told(studies):
    folders = [studies["sizing"][0], studies["fit"][0]]
    with pytest.raises(RunError, match=r"sizing is a sizing; a page of 2 shows runs only"):
        page_of(folders)
