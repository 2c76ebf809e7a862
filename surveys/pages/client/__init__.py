"""Pages people read in a browser, made on the server."""
