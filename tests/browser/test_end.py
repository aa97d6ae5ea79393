"""The end of a server."""

from pathlib import Path

from tests.browser.server import Server


def test_demo_ends_with_an_interrupt(tmp_path: Path):
    """An interrupt ends the demo while a roast goes on, with no process left of it or of its simulated roaster."""
    demo = Server.start(tmp_path / "data", "demo", "--speed", "30")
    assert len(demo.processes) > 2  # launcher, server, roaster
    assert demo.stop() == []
