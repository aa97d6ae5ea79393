"""Sources of readings. Whatever the wire, they look alike."""
