"""What a roaster is: channels with roles, controls, the sources of both, and the sheet that describes them. Pure."""
