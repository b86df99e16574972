"""What the tables of the command line say of figures, where no run is needed for it."""

from __future__ import annotations

import pytest

from drivesim.analysis.ledger import PARTS
from drivesim.cli import console, tables

NOTHING_ELSE = {
    "fighting": {"force_mean_N": 0.0, "share_of_drive_power": 0.0},
    "stuck_s": 0.0,
    "distance_m": 1.0,
    "duration_s": 1.0,
    "supply": {"resets": 0, "endurance_h": None},
    "recovery": None,
    "events": {},
    "wheels": {},
    "ledger": dict.fromkeys(PARTS, 0.0) | {"drawn": 0.0},
}


@pytest.mark.parametrize(
    ("volts", "shown"), [(4.35, "4.35"), (8.2, "8.20"), (4.3499, "4.34"), (7.999, "7.99"), (0.0, "0.00")]
)
def test_the_lowest_bus_voltage_is_neither_rounded_up_nor_a_digit_short(volts, shown, capsys, monkeypatch):
    monkeypatch.setattr(tables, "wheel_table", lambda _: console.table(""))
    tables.print_figures(console.console(), NOTHING_ELSE | {"lowest_bus_voltage_V": volts})
    assert f"bus at least {shown} V" in capsys.readouterr().out
