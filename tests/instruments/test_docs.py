"""The examples in docs/instruments.md are valid and complete."""

import re
from pathlib import Path

import pytest

from roastlog.clock import Clock
from roastlog.instruments.build import build_instruments
from roastlog.machine.model import SOURCES
from roastlog.machine.sheet import parse_sheet, sheet_text
from roastlog.machine.sources import Checked, ModbusPoint, MqttPoint, Sensor, SerialPoint

TEXT = (Path(__file__).parents[2] / "docs" / "instruments.md").read_text(encoding="utf-8")
SHEETS = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)


@pytest.mark.parametrize("sheet", SHEETS)
def test_each_example_is_a_sheet(sheet):
    """Each example can be imported, exported, imported again, and makes its links."""
    machine = parse_sheet(sheet)
    assert parse_sheet(sheet_text(machine)).with_passwords_of(machine) == machine
    links = build_instruments(machine, Clock())
    read = {name for _, poll_s in links for name in poll_s}
    assert read == {part.id for part in (*machine.channels, *machine.controls) if not getattr(part, "hand", None)}


def test_every_source_and_sensor_has_an_example_or_a_line():
    """Every source occurs in the text."""
    for source in SOURCES:
        assert re.search(rf"\b{source} = {{", TEXT)


@pytest.mark.parametrize("model", [ModbusPoint, MqttPoint, SerialPoint, Sensor, Checked])
def test_every_key_is_named(model):
    """Each key of a sheet is named in the text."""
    for field in model.model_fields:
        assert re.search(rf"`{field}|\b{field} = ", TEXT), f"{field} of {model.__name__}"
