"""Access to these pages: the office, and for some pages the calibration administrators; 404 for all others."""

from __future__ import annotations

from surveys.models.role import FLEET, OFFICE
from surveys.pages.frame import framed_for

office_page = framed_for(OFFICE)
"""A page for the office, signed in with the second factor where required."""

form_for_correctors = framed_for(OFFICE | FLEET)
"""A page for users who may correct instrument data and follow the recalculation."""
