"""Pages at the desk: sit and think."""
