"""Pages, live values and the JSON interface. ``app.create_app`` is the way in."""
