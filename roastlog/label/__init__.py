"""QR symbols and the labels that carry them."""
