"""Pages of the owner: machines, settings, people, devices."""
