"""Shared fixtures of the tests of the local network."""

import asyncio
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def no_loop_of_others() -> Iterator[None]:
    """The browser tests leave an event loop that seems to run in this thread; zeroconf would use it."""
    loop = asyncio._get_running_loop()
    asyncio._set_running_loop(None)
    yield
    asyncio._set_running_loop(loop)
