"""Pages at the machine, for a glance and a tap."""
