"""Pages at the bench: thumb and scan."""
