"""Arrays to Bokeh figures and small pictures."""
