"""Reading, computing and publishing while a batch is under way."""
