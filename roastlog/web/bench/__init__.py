"""Pages at the bench, for one thumb and the camera."""
