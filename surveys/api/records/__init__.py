"""The records over the API, one module for each aggregate."""
