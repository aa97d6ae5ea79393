"""The kind of a device, from its browser's User-Agent."""

from typing import Final

_KINDS: Final = {
    "iPad": "iPad",
    "iPhone": "iPhone",
    "iPod": "iPod",
    "Android": "Android",
    "Macintosh": "Mac",
    "Windows": "PC",
}


def device_kind(user_agent: str) -> str | None:
    """Its kind, such as ``iPhone`` or ``PC``; None for an unknown one. An iPad may claim to be a Mac."""
    return next((kind for mark, kind in _KINDS.items() if mark in user_agent), None)
