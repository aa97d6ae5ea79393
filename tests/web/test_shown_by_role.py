"""Pages show the actions of a role, and no more."""

import pytest

from roastlog.services import Role
from roastlog.web.http.roles import DECIDE, LOOK, OPERATE, OWN
from tests.conftest import Bench
from tests.web.walk import browser

FORMS = [("/batches/{code}", "/note", OPERATE), ("/batches/{code}", "/decision", DECIDE)]
FORMS += [("/batches/{code}", "/withdraw", DECIDE), ("/batches/{code}", "/undo", OPERATE)]
FORMS += [
    ("/settings", 'action="/people"', OWN),
    ("/lots", 'href="/lots/new"', DECIDE),
    ("/more", 'href="/devices"', OWN),
]
FORMS += [("/", "/start", OPERATE), ("/machines/drum-4/setup", '/channels"', OWN)]
FORMS += [("/machines/drum-4/setup", 'name="smallest"', OWN)]


@pytest.mark.parametrize(("path", "mark", "least"), FORMS)
def test_a_form_is_shown_to_those_who_may_send_it(bench: Bench, path: str, mark: str, least: Role):
    """The page has the form for permitted roles, and lacks it for all others."""
    path = path.format(code=bench.roast(30))
    for role in Role:
        answer = browser(bench, role).get(path)
        assert answer.status_code == 200
        assert (mark in answer.text) == (role >= least), (path, mark, role)


def test_a_screen_that_only_looks_has_no_pad(bench: Bench):
    """The live page marks it for its style sheet."""
    assert "watching" in browser(bench, LOOK).get("/machines/drum-4").text
    assert "watching" not in browser(bench, OPERATE).get("/machines/drum-4").text
