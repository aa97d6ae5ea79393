"""What the tests of the local network share."""

import asyncio
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def no_loop_of_others() -> Iterator[None]:
    """The browser's tests leave an event loop that seems to run in this thread; zeroconf would take it for its own."""
    loop = asyncio._get_running_loop()
    asyncio._set_running_loop(None)
    yield
    asyncio._set_running_loop(loop)
