"""The invented roastery of `make demo`: Quillwater Roasters, its coffees, its week, its simulated machine."""
