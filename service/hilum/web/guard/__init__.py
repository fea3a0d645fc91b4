"""Who may come in and ask for what, and what is refused before any page is asked."""
