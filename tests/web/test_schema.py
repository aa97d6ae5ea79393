"""The API conforms to its OpenAPI description, in calls that Schemathesis generates from it."""

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from jsonschema import Draft202012Validator
from schemathesis import Case
from schemathesis.checks import CHECKS

from roastlog.web.api.openapi import description
from tests.conftest import Bench

# The same few calls each time: all together take half a minute.
BOUNDED = settings(
    max_examples=30, derandomize=True, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
DESCRIBED = description()
schema = schemathesis.openapi.from_dict(DESCRIBED)
# Items of a list are judged separately, so the answer as a whole is no refusal.
LISTS = {"entries": "Entry", "readings": "Reading"}
PLAIN = {"Accept-Encoding": "identity"}  # the client that calls the app here does not decompress
BY_THE_LIST = CHECKS.get_by_names(["negative_data_rejection"])


class Served:
    """The app with a batch, called from its own computer."""

    def __init__(self, bench: Bench) -> None:
        self.code, self._app = bench.roast(30, coffee="Alder washed"), bench.app

    def __call__(self, environ: dict[str, Any], start: Any) -> Any:  # noqa: ANN401 - WSGI
        """Answer a call."""
        return self._app({**environ, "REMOTE_ADDR": "127.0.0.1"}, start)


@pytest.fixture
def served(bench: Bench) -> Served:
    """The app and its batch."""
    return Served(bench)


@schema.parametrize()
@BOUNDED
def test_every_call_is_answered_as_described(case: Case, served: Served):
    """No error, and no undescribed status, content or shape; valid calls are accepted, invalid ones refused."""
    check(case, served)


@schema.include(path_regex="{|entries").parametrize()
@BOUNDED
def test_calls_about_existing_data_are_answered_as_described(case: Case, served: Served):
    """Calls about the existing machine and batch, which random calls would not hit, conform as well."""
    there = {"machine_id": "drum-4", "code": served.code}
    for name in case.path_parameters:
        case.path_parameters[name] = there[name]
    for sent in listed(case, "entries"):
        if isinstance(sent, dict):
            sent |= {"machine": "drum-4", "batch": served.code}
    for sent in listed(case, "readings"):
        if isinstance(sent, dict):
            sent["channel"] = "bean_probe"
    check(case, served)


def listed(case: Case, name: str) -> list[Any]:
    """The list that a call sends; empty if it sends none."""
    found = case.body.get(name) if isinstance(case.body, dict) else None
    return found if isinstance(found, list) else []


def check(case: Case, served: Served) -> None:
    """Call, and compare the answer with the description; each item of a list separately."""
    name = next((name for name in LISTS if listed(case, name)), None)
    answer = case.call_and_validate(app=served, headers=PLAIN, excluded_checks=BY_THE_LIST if name else [])
    if name is None or answer.status_code >= 400:
        return
    told = answer.json()
    refused = {one["index"] for one in told.get("refused", ())}
    refused |= {index for index, one in enumerate(told.get("results", ())) if one["status"] == "refused"}
    fits = Draft202012Validator({**DESCRIBED, "$ref": f"#/components/schemas/{LISTS[name]}"})
    for index, sent in enumerate(listed(case, name)):
        assert index in refused or fits.is_valid(sent), sent
