"""Roles: what a person may do."""

from django.db import models


class Role(models.TextChoices):
    CLIENT = "client", "client viewer"
    TECHNICIAN = "technician", "technician"
    OFFICE = "office", "office"
    CALIBRATION_ADMIN = "calibration-admin", "calibration admin"
    ADMINISTRATOR = "administrator", "administrator"

    @classmethod
    def office_roles(cls) -> frozenset[str]:
        """Roles that work with every client's records."""
        return frozenset({cls.OFFICE, cls.CALIBRATION_ADMIN, cls.ADMINISTRATOR})
