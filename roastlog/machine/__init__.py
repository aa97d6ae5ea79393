"""Model of a roaster: channels with roles, controls, their sources, and the machine sheet. Pure."""
