"""What is read off a curve: rate of rise, turning point, phases. Pure numpy."""
