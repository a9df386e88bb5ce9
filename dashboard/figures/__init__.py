"""What the queries found goes in, a plotly figure comes out. Pure."""
