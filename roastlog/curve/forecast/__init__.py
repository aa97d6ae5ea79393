"""Forecast of the next moments, each with a band, from a coffee's earlier batches."""
