"""The sheets of machines are parsed once and always current."""

from contextlib import closing

import pytest

from roastlog.machine.model import Machine
from roastlog.services import Services, open_services
from tests.conftest import SHEET, Bench, HandClock


def test_today_parses_each_sheet_once(services: Services, clock: HandClock, monkeypatch: pytest.MonkeyPatch):
    """A server with one sheet in its database parses one, however often Today is requested."""
    services.close()
    parsed: list[str] = []
    real = Machine.model_validate_json
    with closing(open_services(services.store.path.parent, clock)) as again:
        monkeypatch.setattr(Machine, "model_validate_json", lambda sheet: (parsed.append(sheet), real(sheet))[1])
        for _ in range(3):
            again.today.overview()
    assert len(parsed) == 1


def test_a_sheet_that_is_kept_takes_effect_at_once(bench: Bench):
    """The list of practice machines and the exported sheet follow the newest sheet, without a restart."""
    assert bench.services.machines.practice_ids() == ()
    bench.services.machines.add_practice()
    assert bench.services.machines.practice_ids() == ("practice",)
    bench.services.machines.keep_sheet(SHEET.replace("Four-kilo drum", "Old drum"))
    assert 'name = "Old drum"' in bench.services.machines.sheet("drum-4")
