"""Batch codes and the kilograms of a green lot. Pure."""
