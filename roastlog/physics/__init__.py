"""Lumped heat and mass balance of a batch drum roaster. Pure."""
