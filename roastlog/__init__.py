"""Drumside: the roast record at the roaster's side."""

__version__ = "0.1.0"
