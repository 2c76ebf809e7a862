"""Pages for clients, and the frame of all pages."""
