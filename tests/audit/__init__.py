"""Lighthouse on the pages of the demo: ``python -m tests.audit``."""
