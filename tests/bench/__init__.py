"""Benchmarks of Drumside, each with a floor measured in the same run. Not collected by pytest."""
