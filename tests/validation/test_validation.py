"""Every check of the validation page within its tolerance, and the page up to date."""

import ast
from pathlib import Path

import pytest
from validation_beliefs import BELIEFS
from validation_check import significant
from validation_page import COMMAND, PAGE, SUBJECTS, ours, page

ROOT = Path(__file__).parents[2]
CHECKS = [
    pytest.param(check, id=f"{subject.title.split()[0].lower()}-{number}")
    for subject in SUBJECTS
    for number, check in enumerate(subject.checks)
]


@pytest.mark.parametrize("check", CHECKS)
def test_within_the_tolerance(check):
    assert check.passes(ours(check)), (
        f"{check.what}: {check.printed} {check.unit} ({check.origin}), ours {ours(check)!r}"
    )


@pytest.mark.parametrize("check", CHECKS)
def test_another_machine_prints_the_same(check):
    """What is printed may not hang on the last bits: give the check other ``digits``, or its step its ``wobble``."""
    value = ours(check)
    shown = {check.shown(value * (1.0 + share * check.wobble)) for share in (-1.0, 0.0, 1.0)}
    assert len(shown) == 1, f"{check.what}: {value!r} prints as {shown}"


def test_the_page_is_up_to_date(request):
    text = page()
    if request.config.getoption("--write-validation", default=False):
        PAGE.write_text(text, encoding="utf-8", newline="\n")
    written = PAGE.read_bytes() if PAGE.exists() else b""
    assert written == text.encode(), f"docs/validation.md is stale; write it anew with: {COMMAND}"


@pytest.mark.parametrize(("belief", "test"), BELIEFS)
def test_each_belief_has_its_test(belief, test):
    path, name = test.split("::")
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, belief


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (9.99996, 4, "10.00"), (0.0830371, 4, "0.08304"), (1.2e-5, 3, "1.20e-5"), (262144.0, 4, "262100"),
        (-0.10905, 4, "-0.1090"), (0.0, 4, "0"), (2622.24, 4, "2622"),
    ],
)  # fmt: skip
def test_significant_digits(value, digits, text):
    assert significant(value, digits) == text
