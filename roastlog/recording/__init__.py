"""Recording while the server runs: readers, live curve, entry service, hub, advice."""
