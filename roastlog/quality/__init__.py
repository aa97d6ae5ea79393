"""What weights say about a batch. Pure."""
