"""Detection of curve faults and probe faults."""
