"""The floors: a Flask app that relays, streams and draws, and does nothing else."""
