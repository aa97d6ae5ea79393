"""Bokeh figures and small SVG curves from arrays."""
