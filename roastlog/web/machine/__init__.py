"""Pages at the machine: glance and tap."""
