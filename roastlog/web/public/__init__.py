"""Public pages: the bag, pairing, the certificate, the app's manifest."""
