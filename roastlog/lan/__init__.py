"""A secure page in one's own network: what this computer is called there, its certificate, and its announcement."""
