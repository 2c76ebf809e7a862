"""The Django project: records of sites, pipes, instruments and surveys, and the API and pages over them."""

from surveys.celery import app as celery_app

__all__ = ["celery_app"]
