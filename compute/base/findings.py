"""The record of a finding, under the name older modules import it by."""

from __future__ import annotations

from compute.base.messages import Finding, Severity

__all__ = ["Finding", "Severity"]
