"""What the intake itself has to say of a log: assumptions about its times."""

from __future__ import annotations

from compute.base.findings import Finding
from surveys.logfiles.columns_plan import Plan
from surveys.logfiles.zones import LocalClock, Repeated, moment_of


def zone_findings(plan: Plan, clock: LocalClock) -> list[Finding]:
    """How times that could be read in two ways were read."""
    findings = [_repeated_hour(met, str(plan.zone)) for met in clock.repeated.values()]
    if plan.start is not None:
        detail = f"The file gives seconds only; they were counted from {moment_of(plan.start):%Y-%m-%d %H:%M:%S} UTC. Check that start."
        findings.append(Finding("times-from-start", "info", detail, "log.time"))
    return findings


def _repeated_hour(met: Repeated, zone: str) -> Finding:
    back = met.change
    low, high = moment_of(back.at + back.after), moment_of(back.at + back.before)
    hour = f"{low:%H:%M} to {high:%H:%M} on {low:%Y-%m-%d}"
    if met.stepped_back:
        detail = (
            f"The clocks of {zone} went back, so {hour} came twice. The rows were taken as the first pass until their times step back, and "
            "as the second from there."
        )
        return Finding("dst-hour-repeated", "info", detail, "log.time", float(met.count))
    detail = (
        f"The clocks of {zone} went back, so {hour} came twice, and nothing in the order of the {met.count} rows of that hour tells which pass "
        "they are of. They were taken as the first. If the logger's clock keeps to one offset all year, say so in the layout."
    )
    return Finding("dst-hour-repeated", "warning", detail, "log.time", float(met.count))
