"""Batches joined with their curves, for live pages, records, comparisons and charts."""
