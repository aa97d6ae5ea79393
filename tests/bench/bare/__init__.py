"""The floors: a Flask app that only relays, streams and draws."""
