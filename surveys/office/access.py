"""Who gets these pages: the office; 404 for the rest."""

from __future__ import annotations

from surveys.portal.frame import OFFICE, framed_for

for_the_office = framed_for(OFFICE)
"""A page for those who dispatch and review, signed in with all that is asked of them."""
