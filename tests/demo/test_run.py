"""The command `demo`."""

import socket
from pathlib import Path

import pytest

from demo.run import run_demo
from roastlog.errors import SettingError


def test_a_taken_port_is_refused_before_anything_is_begun(tmp_path: Path):
    """A port in use is refused before any folder is filled, since the operator would write into the other server."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(SettingError, match=f"Port {port} .*--port"):
            run_demo(tmp_path / "demo", "127.0.0.1", port, 1.0)
    assert not (tmp_path / "demo").exists()
