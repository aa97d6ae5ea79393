"""Two batches compared: aligned, matched move by move, and their deviations ranked."""
