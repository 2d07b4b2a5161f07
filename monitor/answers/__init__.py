"""What the store and the core say together: composed once, for the page and for the tick."""
