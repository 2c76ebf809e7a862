"""Typed input of quantities, set-ups and files, shared by pages and API.

The serializers of the REST framework are its parsing library: a class named `...In` parses what was sent, and a function turns the parsed
values into what a service takes. Pages import from here and not from the API.
"""
