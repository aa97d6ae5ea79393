"""The sheets of machines: parsed once, and never older than the one that was kept last."""

from contextlib import closing

import pytest

from roastlog.machine.model import Machine
from roastlog.services import Services, open_services
from tests.conftest import SHEET, Bench, HandClock


def test_today_parses_each_sheet_once(services: Services, clock: HandClock, monkeypatch: pytest.MonkeyPatch):
    """However often Today is asked for, a server that found one sheet in its database parses one."""
    services.close()
    parsed: list[str] = []
    real = Machine.model_validate_json
    with closing(open_services(services.store.path.parent, clock)) as again:
        monkeypatch.setattr(Machine, "model_validate_json", lambda sheet: (parsed.append(sheet), real(sheet))[1])
        for _ in range(3):
            again.today.overview()
    assert len(parsed) == 1


def test_a_sheet_that_is_kept_takes_effect_at_once(bench: Bench):
    """The list of practice machines and the sheet to export follow the newest sheet, with no restart between."""
    assert bench.services.machines.practice_ids() == ()
    bench.services.machines.add_practice()
    assert bench.services.machines.practice_ids() == ("practice",)
    bench.services.machines.keep_sheet(SHEET.replace("Four-kilo drum", "Old drum"))
    assert 'name = "Old drum"' in bench.services.machines.sheet("drum-4")
