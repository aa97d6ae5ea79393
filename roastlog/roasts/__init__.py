"""Batch and curve joined: live pages, records, comparison and charts all read it."""
