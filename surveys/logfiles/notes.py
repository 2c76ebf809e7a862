"""Findings of the import itself: assumptions about the times of a log."""

from __future__ import annotations

from compute.base.messages import Finding, at, day, finding
from surveys.logfiles.columns_plan import Plan
from surveys.logfiles.zones import LocalClock, Repeated, moment_of


def zone_findings(plan: Plan, clock: LocalClock) -> list[Finding]:
    """How ambiguous times were read."""
    findings = [_repeated_hour(met, str(plan.zone)) for met in clock.repeated.values()]
    if plan.start is not None:
        findings.append(finding("times-from-start", "info", "log.time", start=at(moment_of(plan.start))))
    return findings


def _repeated_hour(met: Repeated, zone: str) -> Finding:
    change = met.change
    low, high = moment_of(change.at + change.after), moment_of(change.at + change.before)
    return finding(
        "dst-hour-repeated/order-known" if met.stepped_back else "dst-hour-repeated",
        "info" if met.stepped_back else "warning",
        "log.time",
        zone=zone,
        hour_from=f"{low:%H:%M}",
        hour_to=f"{high:%H:%M}",
        on=day(low.date()),
        count=met.count,
    )
