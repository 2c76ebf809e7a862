"""Who gets these pages: the office, and of some those who look after the fleet too; 404 for the rest."""

from __future__ import annotations

from surveys.pages.frame import FLEET, OFFICE, framed_for

office_page = framed_for(OFFICE)
"""A page for those who dispatch and review, signed in with all that is asked of them."""

form_for_correctors = framed_for(OFFICE | FLEET)
"""A page for those who may correct what instruments are, and follow what that sets to work."""
