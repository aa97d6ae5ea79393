"""A server whose connections are held by strangers, and by the streams of one device."""

from contextlib import closing
from pathlib import Path

from tests.soak.strangers import Phone, holding, served

POSTS = 160  # 64 of them once held all threads, and 24 those of the plain door
IDLE = 450  # 100 once filled the plain door
STREAMS = 60  # of one device, which once took all 48


def test_paired_device_is_served_while_others_hold_connections(tmp_path: Path):
    """Half-sent posts, idle connections and streams of one device stop neither taps nor pages, on either port."""
    with served(tmp_path) as here, closing(Phone(here)) as phone, holding(here, POSTS, IDLE, STREAMS) as held:
        assert (held.watching, held.refused) == (6, STREAMS - 6)
        phone.tap("yellow")
        phone.connect_again()
        phone.tap("first_crack")
        for path in ("/", "/machines/drum-4", "/healthz"):
            phone.open(path)
        assert here.server.get("/healthz")["status"] == "ok"
