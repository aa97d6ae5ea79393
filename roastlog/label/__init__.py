"""QR symbols and labels with them."""
