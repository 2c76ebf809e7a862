"""Custom materials and media: immutable versions, and pipes that follow a revision."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from compute.measuring.entries import LiningEntry, resolve_medium, resolve_pipe
from surveys.core.errors import Conflict, ServiceError
from surveys.models import CustomMaterial, CustomMaterialData, CustomMedium, CustomMediumData, PipeData
from surveys.models.library import CustomMediumEntry
from surveys.results import recalculation
from surveys.services.pipes.library import (
    custom_material_create,
    custom_material_revise,
    custom_medium_create,
    custom_medium_revise,
)
from surveys.services.pipes.pipes import PipeStatement, pipe_alter, pipe_correct
from tests.surveys.scene import STATEMENT, Scene, current

pytestmark = pytest.mark.django_db

# Invented figures near those of a heat-transfer oil and of a hard plastic.
TABLE = {
    "temperature_k": [293.15, 323.15, 353.15],
    "sound_speed_m_s": [1450.0, 1350.0, 1250.0],
    "density_kg_m3": [870.0, 850.0, 830.0],
    "dynamic_viscosity_pa_s": [0.04, 0.0125, 0.005],
}


def material_data(speed: float = 2300.0, **figures: Any) -> CustomMaterialData:
    given = {"roughness_m": 5e-6, "reason": "measured again", **figures}
    return CustomMaterialData(longitudinal_sound_speed_m_s=speed, source="coupon", **given)


def medium_data(**changes: Any) -> CustomMediumData:
    uncertainties = {
        "sound_speed_uncertainty": 0.002,
        "density_uncertainty": 0.001,
        "viscosity_uncertainty": 0.05,
    }
    return CustomMediumData(
        pressure_pa=101_325.0,
        table={**TABLE, **changes},
        source="data sheet",
        reason="measured again",
        **uncertainties,
    )


def add_material(scene: Scene, name: str = "casing-plastic") -> CustomMaterial:
    return custom_material_create(
        material=CustomMaterial(name=name, title="Casing plastic"),
        data=material_data(),
        by=scene.cast.office,
        now=timezone.now(),
    )


def add_medium(scene: Scene, name: str = "loop-oil", data: CustomMediumData | None = None) -> CustomMedium:
    return custom_medium_create(
        medium=CustomMedium(name=name, title="Loop oil"),
        data=data or medium_data(),
        by=scene.cast.office,
        now=timezone.now(),
    )


def restate(scene: Scene, statement: PipeStatement) -> PipeData:
    """The pipe's data in force corrected to a statement, all surveys recomputed."""
    data, recomputation = pipe_correct(
        pipe=scene.pipe,
        corrects=scene.in_force(),
        statement=statement,
        reason="It is ours.",
        valid_from=None,
        wall_measurement=None,
        by=scene.cast.office,
        now=timezone.now(),
    )
    recalculation.recomputation_run(recomputation.pk)
    return PipeData.objects.get(pk=data.pk)


def with_medium(medium: CustomMedium) -> PipeStatement:
    entry = CustomMediumEntry(
        medium.name, 331.15, "measured", version=CustomMediumData.objects.filter(medium=medium)[0]
    )
    return replace(STATEMENT, medium=entry)


def lined(material: CustomMaterial) -> PipeStatement:
    lining = LiningEntry(material.versions.all()[0].entry(), 0.003)
    return replace(STATEMENT, pipe=replace(STATEMENT.pipe, lining=lining))


def test_pipe_data_is_returned_as_entered(scene: Scene) -> None:
    statement = replace(lined(add_material(scene)), medium=with_medium(add_medium(scene)).medium)
    data = restate(scene, statement)
    assert data.pipe_entry() == statement.pipe
    assert data.medium_entry() == statement.medium
    assert (data.lining_material, data.medium) == ("casing-plastic", "loop-oil")


def test_a_pipe_of_custom_material_takes_its_sound_speed_and_roughness(scene: Scene) -> None:
    entry = add_material(scene).versions.all()[0].entry()
    resolved = resolve_pipe(replace(STATEMENT.pipe, material=entry))
    assert resolved.pipe.wall.longitudinal_sound_speed == 2300.0
    assert resolved.pipe.roughness == 5e-6
    assert [finding.code for finding in resolved.findings] == ["roughness-assumed"]


def test_a_custom_medium_is_read_from_its_table_with_its_uncertainties(scene: Scene) -> None:
    medium = add_medium(scene)
    resolved = resolve_medium(replace(with_medium(medium).medium, temperature=323.15))
    # A row of the table.
    assert resolved.medium.sound_speed == pytest.approx(1350.0, rel=1e-12)
    assert resolved.medium.dynamic_viscosity == pytest.approx(0.0125, rel=1e-12)
    assert (resolved.sound_speed_uncertainty, resolved.source.text) == (0.002, "data sheet")


def test_a_revised_medium_corrects_the_pipes_and_recomputes_their_surveys(scene: Scene) -> None:
    medium = add_medium(scene)
    before = restate(scene, with_medium(medium))
    survey = scene.survey()
    old = current(survey)
    thicker = medium_data(dynamic_viscosity_pa_s=[0.4, 0.125, 0.05])
    [started] = custom_medium_revise(medium=medium, data=thicker, by=scene.cast.office, now=timezone.now())
    recalculation.recomputation_run(started.pk)
    new = current(survey)
    assert new.replaces == old
    assert (new.pipe_data.corrects, new.pipe_data.custom_medium_data) == (before, thicker)
    assert new.pipe_data.reason == {
        "code": "custom-medium-revised",
        "parameters": {"name": "loop-oil", "reason": "measured again"},
    }
    assert str(new.pipe_data.reason) == "The custom medium loop-oil is revised (reason: “measured again”)."
    assert new.change_breakdown is not None
    [cause] = new.change_breakdown["causes"]
    assert cause["field"] == "medium"
    assert cause["before"][0]["value"].endswith(" UTC")
    assert "(measured again)" in cause["after"][0]["value"]
    assert cause["effect"]["si"] == pytest.approx(new.volume_flow_m3_s - old.volume_flow_m3_s, rel=1e-3)


def test_a_revised_material_keeps_everything_else_of_the_pipe(scene: Scene) -> None:
    material = add_material(scene)
    before = restate(scene, lined(material))
    survey = scene.survey()
    data = material_data(2250.0)
    [started] = custom_material_revise(material=material, data=data, by=scene.cast.office, now=timezone.now())
    recalculation.recomputation_run(started.pk)
    after = current(survey).pipe_data
    assert (after.custom_lining_data, after.custom_material_data) == (data, None)
    assert after.pipe_entry() == replace(
        before.pipe_entry(), lining=LiningEntry(data.entry(), before.lining_thickness_m)
    )
    assert (after.medium_entry(), after.as_entered) == (before.medium_entry(), before.as_entered)
    change_breakdown = current(survey).change_breakdown
    assert change_breakdown is not None
    assert [cause["field"] for cause in change_breakdown["causes"]] == ["pipe.lining"]


def test_versions_already_corrected_and_other_pipes_are_left_alone(scene: Scene) -> None:
    material = add_material(scene)
    restate(scene, lined(material))
    restate(scene, STATEMENT)
    count = PipeData.objects.count()
    started = custom_material_revise(
        material=material, data=material_data(2250.0), by=scene.cast.office, now=timezone.now()
    )
    assert (started, PipeData.objects.count()) == ([], count)


def test_a_table_that_does_not_cover_a_pipe_is_rejected_completely(scene: Scene) -> None:
    medium = add_medium(scene)
    restate(scene, with_medium(medium))
    cold = medium_data(temperature_k=[273.15, 283.15, 293.15])
    with pytest.raises(ServiceError, match="Return line") as caught:
        custom_medium_revise(medium=medium, data=cold, by=scene.cast.office, now=timezone.now())
    assert caught.value.code == "out-of-range"
    assert medium.versions.count() == 1


def test_an_entry_on_a_superseded_version_is_rejected(scene: Scene) -> None:
    material = add_material(scene)
    statement = lined(material)
    custom_material_revise(
        material=material, data=material_data(2250.0), by=scene.cast.office, now=timezone.now()
    )
    with pytest.raises(Conflict) as caught:
        pipe_alter(
            pipe=scene.pipe,
            statement=statement,
            reason="Lined.",
            valid_from=timezone.now().date(),
            wall_measurement=None,
            by=scene.cast.office,
            now=timezone.now(),
        )
    assert caught.value.code == "revised-meanwhile"


@pytest.mark.parametrize("name", ["carbon-steel", "copper"])
def test_a_material_of_the_library_cannot_be_added_again(scene: Scene, name: str) -> None:
    with pytest.raises(Conflict) as caught:
        add_material(scene, name)
    assert caught.value.code == "name-taken"


def test_a_medium_of_the_library_cannot_be_added_again(scene: Scene) -> None:
    with pytest.raises(Conflict):
        add_medium(scene, "water")


@pytest.mark.parametrize("name", ["Loop-Oil", "loop oil", "-oil", "oil-", "öl", "loop_oil", "oil\n"])
def test_a_name_is_small_letters_digits_and_hyphens(scene: Scene, name: str) -> None:
    with pytest.raises(ValidationError):
        add_material(scene, name)


def test_an_unreadable_table_is_rejected(scene: Scene) -> None:
    falling = medium_data(temperature_k=[353.15, 323.15, 293.15])
    with pytest.raises(ServiceError) as caught:
        add_medium(scene, data=falling)
    assert (caught.value.code, caught.value.field) == ("out-of-range", "table")


def test_exchanged_sound_speeds_are_rejected(scene: Scene) -> None:
    with pytest.raises(ServiceError) as caught:
        custom_material_create(
            material=CustomMaterial(name="x", title="x"),
            data=material_data(2300.0, shear_sound_speed_m_s=4000.0),
            by=scene.cast.office,
            now=timezone.now(),
        )
    assert caught.value.code == "shear-not-slower"


@pytest.mark.parametrize("model", [CustomMaterialData, CustomMediumData])
def test_a_version_is_never_changed(scene: Scene, model: Any) -> None:
    add_material(scene), add_medium(scene)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        model.objects.update(source="elsewhere")


def test_the_uncertainty_of_the_temperature_affects_the_result_through_the_table(scene: Scene) -> None:
    restate(scene, with_medium(add_medium(scene)))
    shares = {row["input"]: row["variance_fraction"] for row in current(scene.survey()).budget}
    assert shares["medium.temperature"] > 0
