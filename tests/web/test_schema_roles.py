"""Generated calls of the API by every role, and entries that correct each other: nobody does more than the role may."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import Case
from werkzeug.exceptions import HTTPException

from roastlog.services import Role
from roastlog.web.api.openapi import description
from roastlog.web.http.roles import LEAST, PUBLIC, says
from tests.conftest import START_MS, Bench
from tests.web.test_schema import PLAIN, listed
from tests.web.walk import ELSEWHERE, browser

FEW = settings(
    max_examples=6, derandomize=True, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
schema = schemathesis.openapi.from_dict(description())
# Of each role some kinds, and those that change other entries. A body is completed by `said_by`.
BODIES: dict[str, dict[str, object]] = {
    "note": {"text": "x"},
    "moment": {"moment": "yellow"},
    "released": {"decision": "hold"},
    "arrived": {"coffee": "Alder washed", "green_g": 100.0},
    "set": {"business": "x"},
    "named": {"name": "Ines", "shown": "I."},
    "undo": {},
    "shift": {"by_s": -5},
    "amend": {"body": {"text": "y"}},
}
CORRECT = {"undo", "shift", "amend"}
ABOUT = {"arrived": "lot HU-7", "set": "house", "named": "person 3f2a9c10"}
STEPS = st.lists(st.tuples(st.sampled_from(list(Role)), st.sampled_from(list(BODIES)), st.integers(0, 99)), max_size=25)


@pytest.fixture
def app_as(bench: Bench) -> Callable[[Role | None], Any]:
    """The app as a program elsewhere calls it, with the token of a role or without one."""
    tokens = {role: bench.services.devices.new_token(role.word, role.word) for role in Role}

    def served(role: Role | None) -> Any:  # noqa: ANN401 - WSGI
        extra = {"REMOTE_ADDR": ELSEWHERE} | ({} if role is None else {"HTTP_AUTHORIZATION": f"Bearer {tokens[role]}"})
        return lambda environ, start: bench.app({**environ, **extra}, start)

    return served


@schema.parametrize()
@FEW
def test_a_generated_call_gives_each_role_what_the_table_says(
    case: Case, bench: Bench, app_as: Callable[[Role | None], Any]
):
    """It never fails on our side; too small a role gets 401 or 403, and stores no entry of a kind above it."""
    try:
        endpoint, _ = bench.app.url_map.bind("localhost").match(case.formatted_path, case.method)
    except HTTPException:  # a generated path that no route has
        endpoint = None
    least = LEAST[endpoint] if endpoint else Role.LOOK
    for role in (None, *Role):
        answer = case.call(app=app_as(role), headers=PLAIN)
        assert answer.status_code < 500, (role, answer.text)
        may = least is PUBLIC or (role is not None and role >= least)
        assert (answer.status_code in {401, 403}) == (not may), (role, endpoint, answer.status_code)
        if endpoint == "api.add_entries" and answer.status_code == 200:
            for sent, result in zip(listed(case, "entries"), answer.json()["results"], strict=True):
                assert result["status"] != "stored" or says(sent["kind"]) <= role, (role, sent)


@given(steps=STEPS)
@settings(
    max_examples=40, derandomize=True, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
def test_entries_that_correct_each_other_never_do_more_than_the_role(bench: Bench, steps: list[tuple[Role, str, int]]):
    """An entry is stored only of a role that may make it, the one that it changes, and so on to the first."""
    code, clients = bench.open(), {role: browser(bench, role) for role in Role}
    made: list[tuple[str, str, Role]] = []  # id, subject, and the least role for it and all that it changes
    for role, kind, pick in steps:
        body, about, least = dict(BODIES[kind]), ABOUT.get(kind, f"batch {code}"), says(kind)
        if kind in CORRECT:
            target, about, needs = made[pick % len(made)] if made else (str(uuid4()), about, least)
            body, least = body | {"entry": target}, max(least, needs)
        entry = {"id": str(uuid4()), "about": about, "kind": kind, "at_ms": START_MS, "body": body}
        answer = clients[role].post("/api/entries", json={"entries": [entry]})
        assert answer.status_code == (403 if role is Role.LOOK else 200), answer.text
        if role is Role.LOOK:
            continue
        (result,) = answer.get_json()["results"]
        if role < least:
            assert result["status"] == "refused", (role, entry)
            assert "This needs the role" in result["reason"] or not about.startswith("batch"), result
        else:
            assert result["status"] == "stored" or kind in CORRECT, (role, entry, result)
        if result["status"] == "stored":
            made.append((str(entry["id"]), about, least))
    assert bench.client.get(f"/batches/{code}").status_code == 200
