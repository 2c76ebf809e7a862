"""Typed input of quantities, set-ups and files, shared by pages and API."""
