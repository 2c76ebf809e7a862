"""Roles: permissions of users."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    CLIENT = "client", _("client viewer")
    TECHNICIAN = "technician", _("technician")
    OFFICE = "office", _("office")
    CALIBRATION_ADMIN = "calibration-admin", _("calibration administrator")
    ADMINISTRATOR = "administrator", _("administrator")

    @classmethod
    def office_roles(cls) -> frozenset[str]:
        """Return the roles that work with the records of all clients."""
        return frozenset({cls.OFFICE, cls.CALIBRATION_ADMIN, cls.ADMINISTRATOR})


OFFICE = frozenset({Role.OFFICE, Role.ADMINISTRATOR})
FIELD = OFFICE | {Role.TECHNICIAN}
FLEET = frozenset({Role.CALIBRATION_ADMIN, Role.ADMINISTRATOR})
ADMINISTRATORS = frozenset({Role.ADMINISTRATOR})
