"""The office's custom materials and media over the API."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.results import recalculation
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db

MATERIAL = {
    "name": "casing-plastic",
    "title": "Casing plastic",
    "longitudinal_sound_speed": "2300 m/s",
    "roughness": "0.005 mm",
    "source": "Coupon measured at 20 degC.",
}
# Invented figures near those of a heat-transfer oil.
ROWS = [
    {
        "temperature": "20 degC",
        "sound_speed": "1450 m/s",
        "density": "870 kg/m3",
        "dynamic_viscosity": "40 mPa.s",
    },
    {
        "temperature": "50 degC",
        "sound_speed": "1350 m/s",
        "density": "850 kg/m3",
        "dynamic_viscosity": "12.5 mPa.s",
    },
    {
        "temperature": "80 degC",
        "sound_speed": "1250 m/s",
        "density": "830 kg/m3",
        "dynamic_viscosity": "5 mPa.s",
    },
]
FIGURES = {
    "table": ROWS,
    "pressure": "101.325 kPa",
    "sound_speed_uncertainty": 0.002,
    "density_uncertainty": 0.001,
    "viscosity_uncertainty": 0.05,
    "source": "Data sheet of the oil.",
}
MEDIUM = {"name": "loop-oil", "title": "Loop oil", **FIGURES}
AT_50 = {"name": "Loop-Oil", "temperature": "50 degC", "temperature_source": "measured"}
PIPE = {"outer_diameter": "219.1 mm", "wall_thickness": "6.3 mm", "material": "carbon-steel"}
PAIR = {"frequency": "1 MHz", "wedge_sound_speed": "2730 m/s", "wedge_angle": "38 deg"}


def post(api: Any, path: str, body: Any, status: int = 201) -> Any:
    answer = api.post(f"/api/v1/{path}", body, format="json")
    assert answer.status_code == status, answer.content
    return answer.json()


def spacing(api: Any, status: int = 200, **changes: Any) -> Any:
    body = {"pipe": PIPE, "medium": AT_50, "transducers": PAIR, "traverses": 2, **changes}
    return post(api, "compute/spacing/", body, status)


def test_a_custom_medium_gives_the_result_of_its_values_entered_by_hand(as_user: Any) -> None:
    office = as_user("office")
    post(office, "custom-media/", MEDIUM)
    named = spacing(office)
    by_hand = {name: value for name, value in ROWS[1].items() if name != "temperature"}
    stated = spacing(office, medium={**by_hand, "temperature": "50 degC", "temperature_source": "measured"})
    assert named["spacing"]["value"] == pytest.approx(stated["spacing"]["value"], rel=1e-12)
    assert named["medium"]["dynamic_viscosity"]["value"] == pytest.approx(12.5, rel=1e-12)


def test_a_custom_material_gives_the_result_of_its_sound_speed_entered_by_hand(as_user: Any) -> None:
    office = as_user("office")
    post(office, "custom-materials/", MATERIAL)
    post(office, "custom-media/", MEDIUM)
    named = spacing(office, pipe={**PIPE, "material": "casing-plastic"})
    by_hand = {"longitudinal_sound_speed": "2300 m/s"}
    stated = spacing(office, pipe={**PIPE, "material": by_hand, "roughness": "0.005 mm"})
    assert named["spacing"] == stated["spacing"]


def test_a_medium_by_table_has_no_salinity(as_user: Any) -> None:
    office = as_user("office")
    post(office, "custom-media/", MEDIUM)
    rejected = spacing(office, 400, medium={**AT_50, "salinity": "35 g/kg"})
    assert rejected["errors"][0]["field"] == "medium.salinity"


def test_a_revision_recalculates_the_surveys_with_a_change_breakdown(as_user: Any, scene: Scene) -> None:
    office = as_user("office")
    added = post(office, "custom-media/", MEDIUM)
    correction = {"reason": "It is oil.", "medium": AT_50}
    data = post(office, f"pipes/{scene.pipe.pk}/corrections/", correction, 202)["data"]
    assert data["custom_medium_data"] == added["data"]["id"]
    assert data["medium"]["name"] == "loop-oil"
    survey = scene.survey()
    old = current(survey)
    thicker = [{**row, "dynamic_viscosity": "200 mPa.s"} for row in ROWS]
    body = {**FIGURES, "table": thicker, "reason": "A sample was measured."}
    revised = post(office, f"custom-media/{added['id']}/revisions/", body, 202)
    [started] = revised["recomputations"]
    recalculation.recomputation_run(started["id"])
    results = office.get(f"/api/v1/surveys/{survey.pk}/results/").json()
    new = next(row for row in results if row["current"])
    assert new["replaces"] == str(old.pk)
    assert [cause["field"] for cause in new["change_breakdown"]["causes"]] == ["medium"]
    [version] = new["change_breakdown"]["causes"][0]["after"]
    assert version["field"] == "version"
    assert "(A sample was measured.)" in version["value"]


def test_every_version_is_stored_with_source_author_and_date(as_user: Any) -> None:
    office = as_user("office")
    added = post(office, "custom-materials/", MATERIAL)
    figures = {name: value for name, value in MATERIAL.items() if name not in ("name", "title")}
    revision = {**figures, "longitudinal_sound_speed": "2250 m/s", "reason": "Measured warm."}
    post(office, f"custom-materials/{added['id']}/revisions/", revision, 202)
    read = as_user("technician").get(f"/api/v1/custom-materials/{added['id']}/").json()
    assert [one["longitudinal_sound_speed"]["value"] for one in read["versions"]] == [2250.0, 2300.0]
    assert [one["reason"] for one in read["versions"]] == ["Measured warm.", "First entry of the record."]
    assert read["data"] == read["versions"][0]
    assert (read["data"]["recorded_by"], read["data"]["source"]) == ("office", MATERIAL["source"])
    assert read["data"]["as_entered"]["longitudinal_sound_speed"] == "2250 m/s"
    assert read["data"]["density"] is None


def test_a_table_is_returned_in_the_requested_units(as_user: Any) -> None:
    office = as_user("office")
    added = post(office, "custom-media/", MEDIUM)
    read = office.get(f"/api/v1/custom-media/{added['id']}/", {"units": "us"}).json()
    # 20 degC is 68 degF.
    assert read["data"]["table"][0]["temperature"]["value"] == pytest.approx(68.0)
    assert read["data"]["as_entered"]["table.0.temperature"] == "20 degC"


@pytest.mark.parametrize(
    ("path", "body"), [("custom-materials/", MATERIAL), ("custom-media/", MEDIUM)], ids=["material", "medium"]
)
def test_an_existing_name_is_rejected(as_user: Any, path: str, body: Any) -> None:
    office = as_user("office")
    post(office, path, body)
    assert post(office, path, body, 409)["errors"][0]["field"] == "name"
    of_library = {"custom-materials/": "carbon-steel", "custom-media/": "water"}[path]
    assert post(office, path, {**body, "name": of_library}, 409)["code"] == "name-taken"
    assert post(office, path, {**body, "name": "Two Words"}, 400)["errors"][0]["field"] == "name"


def test_library_lists_show_custom_entries_to_users_with_access(as_user: Any) -> None:
    office = as_user("office")
    post(office, "custom-materials/", MATERIAL)
    post(office, "custom-media/", MEDIUM)
    for path, name in (("materials", "casing-plastic"), ("media", "loop-oil")):
        rows = as_user("technician").get(f"/api/v1/compute/{path}/").json()
        assert [row["name"] for row in rows if row["custom"]] == [name]
        assert not any(row["custom"] for row in as_user("owner").get(f"/api/v1/compute/{path}/").json())


@pytest.mark.parametrize("who", ["owner", "stranger"])
def test_a_client_finds_none_and_cannot_name_them(as_user: Any, who: str) -> None:
    added = post(as_user("office"), "custom-media/", MEDIUM)
    api = as_user(who)
    assert api.get("/api/v1/custom-media/").json()["results"] == []
    assert api.get(f"/api/v1/custom-media/{added['id']}/").status_code == 404
    assert spacing(api, 400)["code"] == "unknown-name"


@pytest.mark.parametrize(("who", "status"), [("technician", 403), ("owner", 403), ("nobody", 401)])
def test_only_the_office_adds_and_revises(as_user: Any, who: str, status: int) -> None:
    added = post(as_user("office"), "custom-materials/", MATERIAL)
    post(as_user(who), "custom-materials/", {**MATERIAL, "name": "another"}, status)
    post(as_user(who), f"custom-materials/{added['id']}/revisions/", MATERIAL, status)


def test_a_list_of_pipes_of_custom_material_costs_the_same_queries_however_long(
    as_user: Any, site: Any, django_assert_max_num_queries: Any
) -> None:
    office = as_user("office")
    post(office, "custom-materials/", MATERIAL)
    post(office, "custom-media/", MEDIUM)
    own = {**PIPE, "material": "casing-plastic"}

    def queries() -> int:
        with django_assert_max_num_queries(30) as counted:
            assert office.get("/api/v1/pipes/").status_code == 200
        return len(counted)

    post(office, "pipes/", {"site": str(site.pk), "name": "0", "pipe": own, "medium": AT_50})
    of_one = queries()
    for number in range(1, 4):
        post(office, "pipes/", {"site": str(site.pk), "name": str(number), "pipe": own, "medium": AT_50})
    assert queries() == of_one


def test_a_survey_on_a_custom_medium_is_read_at_the_temperature_of_the_day(
    as_user: Any, scene: Scene
) -> None:
    office = as_user("office")
    post(office, "custom-media/", MEDIUM)
    correction = {"reason": "It is oil.", "medium": {**AT_50, "temperature": "65 degC"}}
    post(office, f"pipes/{scene.pipe.pk}/corrections/", correction, 202)
    wish = {"transducers": str(scene.kit.pair.pk), "medium_temperature": "50 degC"}
    path = f"measuring-points/{scene.point.pk}/setups/"
    setup = post(office, path, {**wish, "medium_temperature_source": "measured"})
    # A row of the table.
    assert setup["outcome"]["medium"]["sound_speed"]["value"] == pytest.approx(1350.0, rel=1e-12)
