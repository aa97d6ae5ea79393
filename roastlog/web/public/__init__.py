"""Pages that strangers see: the bag, pairing, the certificate, the app's manifest."""
