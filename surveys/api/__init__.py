"""The REST API: it parses, calls one service or selector, and answers."""
