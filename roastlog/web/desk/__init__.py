"""Pages at the desk, for reading at leisure."""
