"""Background work on stored data: packing, sweeping, backups."""
