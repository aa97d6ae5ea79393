"""Batch codes and green lot balances. Pure."""
