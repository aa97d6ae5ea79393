"""The bench: what Drumside costs, each figure beside its floor measured in the same run. Not collected by pytest."""
