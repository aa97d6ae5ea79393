"""Quality measures of a batch from its weights. Pure."""
