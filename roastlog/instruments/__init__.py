"""Drivers for sources of readings, behind one interface."""
