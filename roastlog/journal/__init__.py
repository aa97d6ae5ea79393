"""The journal: entries by people and machines, and the subjects that they fold into. Pure."""
