"""Curves: rate, smoothing, phases, faults, forecast, comparison. Arrays in, arrays out. Pure."""
