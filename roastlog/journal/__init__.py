"""The journal: what people and machines said, and the batch that it adds up to. Pure."""
