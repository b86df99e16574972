"""Fixtures of the tests of the page."""

import pytest

import drivesim.report.run_page as run_page


@pytest.fixture
def bare(monkeypatch):
    """Pages without pictures, which take most of their time and have tests of their own."""
    monkeypatch.setattr(run_page, "applicable", lambda run: [])
