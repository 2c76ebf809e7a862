"""Pages of help, for everybody."""
