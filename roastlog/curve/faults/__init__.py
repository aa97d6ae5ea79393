"""Faults of a curve and of its probe."""
