"""Batch codes, green lot balances and GS1 identifiers. Pure."""
