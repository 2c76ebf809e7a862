"""One record of every kind, of one client or of the fleet, for tests of access by other users."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from surveys.api.urls import router
from surveys.results.recalculation import recomputation_run
from tests.surveys.branches import branch, mounted
from tests.surveys.fleet.test_out_of_tolerance_reviews import BAD, GOOD, certify
from tests.surveys.scene import STARTED, make_scene
from tests.surveys.surveys.test_log_formats import LAYOUT

PDF = b"%PDF-1.7\n%%EOF\n"
START = datetime(2030, 1, 7, 8, tzinfo=UTC)
END = START + timedelta(hours=4)
TODAY = date(2026, 10, 5)
MATERIAL = {
    "name": "office-brass", "title": "Brass of the works", "longitudinal_sound_speed": "4400 m/s", "shear_sound_speed": "2100 m/s",
    "source": "Measured.",
}  # fmt: skip
MEDIUM = {
    "name": "office-brine", "title": "Brine of the plant", "source": "Measured.", "pressure": "1 bar",
    "sound_speed_uncertainty": 0.001, "density_uncertainty": 0.001, "viscosity_uncertainty": 0.02,
    "table": [
        {"temperature": f"{t} degC", "sound_speed": f"{1500 + t} m/s", "density": "1100 kg/m3", "dynamic_viscosity": "1.2 mPa.s"}
        for t in (10, 30)
    ],
}  # fmt: skip

ABSENCE = {"starts_at": "2031-01-01T00:00:00Z", "ends_at": "2031-01-02T00:00:00Z", "reason": "away"}
QUALIFICATION = {"slug": "confined-space", "name": "Confined space", "issued_on": "2026-01-01"}

# Route parameter beside `pk` -> which of the records it is the id of.
ALSO = {
    "setup": "setups",
    "setup_id": "setups",
    "document": "documents",
    "qualification": "qualifications",
    "absence": "absences",
    "survey": "surveys",
}


class Everything:
    """Records by the prefix of their address; made by those who make them, through the API where it has a way."""

    def __init__(self, cast: Any, site: Any, kit: Any) -> None:
        self.cast, self.ids = cast, {"clients": str(cast.client.pk), "sites": str(site.pk)}
        self.scene = scene = make_scene(site, cast, kit)
        certify(scene, TODAY - timedelta(days=400), GOOD)
        survey = scene.survey()
        self.other = str(branch(scene, "Flow line").survey().pk)
        recomputation = scene.correct(0.008)
        while recomputation_run(recomputation.pk):
            pass
        certify(scene, STARTED.date() + timedelta(days=30), BAD)
        self.ids |= {
            "pipes": str(scene.pipe.pk),
            "measuring-points": str(scene.point.pk),
            "points": str(scene.point.pk),
            "setups": str(survey.data.get().setup_id),
            "instruments": str(kit.meter.pk),
            "transducers": str(kit.pair.pk),
            "surveys": str(survey.pk),
            "results": str(survey.results.get(replaced_at=None).pk),
            "recomputations": str(recomputation.pk),
            "calibrations": str(kit.meter.calibrations.latest("calibrated_on").pk),
            "technicians": str(cast.technician.pk),
            "users": str(cast.colleague.pk),
        }
        self._office(scene, kit)
        self._fleet(kit)
        for prefix in ("notices", "out-of-tolerance-reviews", "audit"):
            self.ids[prefix] = self._api("administrator").get(f"/api/v1/{prefix}/").json()["results"][0]["id"]

    def fresh_survey(self) -> str:
        """The id of another survey, without a log."""
        return str(mounted(self.scene).pk)

    def address(self, route: str) -> str:
        """An address of the route, of the records there are."""

        def filled(found: re.Match[str]) -> str:
            return self.id_of(route, found[2]) if found[1] == "uuid" else "no-such-token"

        return "/" + re.sub(r"<(\w+):(\w+)>", filled, route)

    def id_of(self, route: str, name: str) -> str:
        """The id of the record that a parameter of a route means; of the route's own kind unless it names another."""
        return self.ids[ALSO.get(name) or self._prefix(route)]

    def _prefix(self, route: str) -> str:
        names = {prefix for prefix, _, _ in router.registry}
        # Of the API, or of the technician's or the calibration admin's pages.
        tail = re.sub("^(api/v1|field|fleet|office)/", "", route)
        return next((name for name in names if re.match(rf"{name}/[<{{]", tail)), tail.partition("/")[0])

    def _office(self, scene: Any, kit: Any) -> None:
        site, span = self.ids["sites"], {"starts_at": START.isoformat(), "ends_at": END.isoformat()}
        technician = self.ids["technicians"]
        job = {
            "site": site,
            "title": "Round of the boiler house",
            "technician": technician,
            "measuring_points": [str(scene.point.pk)],
        } | span
        self._make("office", "jobs", job)
        self._make("office", "bookings", {"job": self.ids["jobs"], "technician": technician} | span)
        self._make(
            "office",
            "absences",
            ABSENCE,
            f"technicians/{technician}/absences",
        )
        self._make(
            "office",
            "qualifications",
            QUALIFICATION,
            f"technicians/{technician}/qualifications",
        )
        self._file(
            "office", f"technicians/{technician}/qualifications/{self.ids['qualifications']}/certificate"
        )
        self._make("office", "dispatch/plans", {"jobs": [self.ids["jobs"]]})
        self._make("office", "log-formats", {"name": "Columns of ours", "format": LAYOUT})
        self._make("office", "custom-materials", MATERIAL)
        self._make("office", "custom-media", MEDIUM)
        self._make(
            "office",
            "combinations",
            {
                "name": "Mean of the house",
                "kind": "mean",
                "site": site,
                "parts": [self.ids["surveys"], self.other],
            },
        )
        self._make("office", "reports", {}, f"surveys/{self.ids['surveys']}/reports")
        self._make(
            "office",
            "invitations",
            {
                "username": "new-colleague",
                "email": "new@client.example",
                "role": "client",
                "client": self.ids["clients"],
            },
        )
        self._make("owner", "tokens", {"name": "mine", "scope": "read", "password": "a long enough password"})
        self._make("office", "calendar-feeds", {"label": "Due"})

    def _fleet(self, kit: Any) -> None:
        who, meter = "calibration_admin", self.ids["instruments"]
        self._make(
            who,
            "acceptance-policies",
            {
                "kind": "thermometer",
                "maximum_permissible_error": {"absolute": "0.2 degC"},
                "decision_rule": {"rule": "simple-acceptance"},
            },
        )
        self._make(
            who,
            "error-correction-policies",
            {"kind": "thermometer", "applied": False, "valid_from": "2026-01-01", "reason": "x"},
        )
        self._make(who, "interval-policies", {"kind": "meter", "months": 12})
        self._make(who, "instrument-types", {"kind": "meter", "name": "Portable"})
        self._make(who, "interval-reviews", {"instrument": meter, "method": "staircase"})
        self._file(who, f"calibrations/{self.ids['calibrations']}/certificate")
        self.ids["documents"] = self._file(who, f"instruments/{meter}/documents", {"title": "Wiring"})["id"]

    def _make(self, who: str, kind: str, body: dict[str, Any], path: str = "") -> None:
        answer = self._api(who).post(f"/api/v1/{path or kind}/", body, format="json")
        assert answer.status_code in (200, 201, 202), (kind, answer.content)
        self.ids[kind] = answer.json()["id"]

    def _file(self, who: str, path: str, also: dict[str, str] | None = None) -> Any:
        body = {"file": SimpleUploadedFile("a.pdf", PDF)} | (also or {})
        answer = self._api(who).post(f"/api/v1/{path}/", body, format="multipart")
        assert answer.status_code in (200, 201), (path, answer.content)
        return answer.json()

    def _api(self, who: str) -> APIClient:
        api = APIClient()
        api.force_authenticate(getattr(self.cast, who))
        return api
