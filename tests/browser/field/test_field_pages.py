"""The technician's tasks, done in a browser as they do them."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import BrowserContext, Page, expect

from surveys.models import Booking, Log, PipeData, Setup, Survey, WallMeasurement
from surveys.models.instrument import State
from surveys.results.recalculation import recomputation_run
from surveys.services.fleet.instruments import InstrumentLocation, instrument_state_change
from tests.surveys.branches import Mounting, logged, mounted
from tests.surveys.scene import Scene, log

pytestmark = [pytest.mark.needs_chromium, pytest.mark.django_db(transaction=True)]
Judge = Callable[[Page], None]


def test_today_shows_the_job_with_its_hazards_and_leads_to_its_points(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.goto("/field/")
    expect(page.get_by_role("heading", name="Flow survey, return line")).to_be_visible()
    expect(page.get_by_text("1 Kiln Lane, Aldervale")).to_be_visible()
    # By the site's clock, whatever the server's is.
    job = work.point.jobs.get()
    starts = job.starts_at.astimezone(job.site.zone)
    assert job.site.time_zone != "UTC"
    expect(page.locator(".time")).to_contain_text(f"{starts:%H:%M} to")
    expect(page.get_by_text("Hot pipes in the pump hall.")).to_be_visible()
    expect(page.get_by_text("P-0127", exact=True)).to_be_visible()
    accessible(page)
    page.get_by_role("link", name="After the bend").click()
    expect(page.get_by_role("heading", name="After the bend")).to_be_visible()


def test_kit_is_checked_out_and_in_with_its_condition_also_without_a_connection(
    page: Page, signed_in: BrowserContext, work: Scene, accessible: Judge
) -> None:
    job = work.point.jobs.get()
    booking = Booking.objects.create(
        job=job,
        instrument=work.kit.meter,
        starts_at=job.starts_at,
        ends_at=job.ends_at,
        booked_by=work.cast.office,
        booked_at=job.starts_at,
    )
    page.goto("/field/")
    page.get_by_text("Check-out: M-0412").click()
    page.get_by_label("Condition and missing items").fill("Complete, one cable worn.")
    accessible(page)
    page.get_by_role("button", name="Record check-out").click()
    expect(page.get_by_text("Complete, one cable worn.")).to_be_visible()
    signed_in.set_offline(True)
    page.get_by_text("Check-in: M-0412").click()
    page.get_by_label("Condition and missing items").fill("As it was.")
    page.get_by_role("button", name="Record check-in").click()
    expect(page.locator("#line")).to_contain_text("1 entry not sent")
    signed_in.set_offline(False)
    expect(page.get_by_text("As it was.")).to_be_visible()
    result = [(one.what, one.condition) for one in booking.events.all()]
    assert result == [("check-out", "Complete, one cable worn."), ("check-in", "As it was.")]


def test_a_technician_gives_their_jobs_to_a_calendar_and_takes_that_back(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.goto("/field/")
    page.get_by_role("link", name="Job calendar").click()
    page.get_by_label("Device or program").fill("van tablet")
    page.get_by_role("button", name="Create address").click()
    address = page.get_by_label("Address").input_value()
    accessible(page)
    assert "SUMMARY:Flow survey" in page.request.get(address).text()
    page.get_by_role("button", name="Revoke: van tablet").click()
    expect(page.get_by_text("No addresses.")).to_be_visible()
    assert page.request.get(address).status == 404


def test_the_spacing_follows_the_input_in_units_of_the_tape(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    first = page.locator("#spacing").inner_text()
    page.get_by_label("Outer diameter").fill("12 3/4 in")
    expect(page.locator("#spacing")).not_to_have_text(first)
    expect(page.get_by_text("outer diameter 323.9 mm", exact=False).first).to_be_attached()
    expect(page.locator(".drawing svg")).to_have_count(2)
    accessible(page)


def test_a_diameter_without_its_unit_is_reported_in_its_field(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    expect(page.locator("#spacing")).to_be_visible()
    page.get_by_label("Outer diameter").fill("219")
    expect(page.locator("[id='wrong-pipe.outer_diameter']")).to_contain_text("unit")
    expect(page.get_by_label("Outer diameter")).to_have_attribute("aria-invalid", "true")
    accessible(page)


def test_a_sound_speed_that_does_not_fit_is_explained(page: Page, work: Scene, accessible: Judge) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    page.get_by_label("Sound speed shown by the meter").fill("1600 m/s")
    expect(page.get_by_text("Sound speed not as expected")).to_be_visible()
    expect(page.locator(".diagnosis li").first).to_be_visible()
    accessible(page)


def test_a_corrected_wall_and_the_set_up_are_saved_with_the_reason(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    page.get_by_label("Wall thickness").fill("8.0 mm")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#wrong-reason")).to_contain_text("Enter the reason")
    page.get_by_label("Reason").fill("Gauged on site.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.get_by_text("Set-up", exact=False).filter(has_text=": sent")).to_be_visible()
    data = PipeData.objects.get(change="correction")
    assert (data.wall_thickness_m, data.reason) == (0.008, "Gauged on site.")
    assert Setup.objects.get().pipe_data == data
    expect(page.get_by_label("Wall thickness")).to_have_value("8.0 mm")
    expect(page.locator("#change")).to_be_hidden()


def test_readings_entered_without_a_connection_arrive_once(
    page: Page, signed_in: BrowserContext, work: Scene, accessible: Judge
) -> None:
    page.goto(f"/field/points/{work.point.pk}/wall/")
    fill_clock(page, ["8.02", "7.98", "8.00", "8.03"])
    expect(page.locator("#mean")).to_have_text("8.01 mm")
    accessible(page)
    signed_in.set_offline(True)
    fill_clock(page, ["8.02", "7.98", "8.00", "8.03", "7.97", "8.00"])
    for _ in range(3):
        page.get_by_role("button", name="Save readings").click()
    expect(page.locator("#line")).to_contain_text("1 entry not sent yet")
    assert not WallMeasurement.objects.exists()
    signed_in.set_offline(False)
    expect(page.locator("#line")).to_contain_text("Everything has been sent")
    page.get_by_role("button", name="Save readings").click()
    expect(page.locator("#line")).to_contain_text("Already saved")
    assert WallMeasurement.objects.get().readings_m == pytest.approx(
        [0.00802, 0.00798, 0.008, 0.00803, 0.00797, 0.008]
    )


def test_an_answer_lost_on_the_way_does_not_make_a_second_record(
    page: Page, signed_in: BrowserContext, work: Scene
) -> None:
    page.goto(f"/field/points/{work.point.pk}/wall/")

    def answer_lost(route: Any) -> None:
        route.fetch()
        route.abort()

    signed_in.route(re.compile("/wall-measurements/"), answer_lost, times=1)
    fill_clock(page, ["8.02", "7.98"])
    page.get_by_role("button", name="Save readings").click()
    expect(page.locator("#line")).to_contain_text("No connection")
    assert WallMeasurement.objects.count() == 1
    page.reload()
    expect(page.locator("#line")).to_contain_text("Everything has been sent")
    assert WallMeasurement.objects.count() == 1


def test_the_page_opens_again_offline_with_the_input(
    page: Page, signed_in: BrowserContext, work: Scene
) -> None:
    page.goto("/field/")
    expect(page.locator("body")).to_have_attribute("data-pages-kept", "yes")
    signed_in.set_offline(True)
    page.goto(f"/field/points/{work.point.pk}/wall/")
    fill_clock(page, ["8.02", "7.98"])
    page.reload()
    expect(page.get_by_label("12", exact=True)).to_have_value("8.02")
    expect(page.locator("#line")).to_contain_text("No connection")


def test_a_rejected_entry_has_its_reason_at_the_field_and_is_not_sent_again(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/wall/")
    fill_clock(page, ["8.02", "thick"])
    page.get_by_role("button", name="Save readings").click()
    expect(page.locator("#kept li.rejected")).to_be_visible()
    expect(page.locator("#wrong-readings")).not_to_be_empty()
    assert not WallMeasurement.objects.exists()


def test_set_up_survey_and_log_stored_offline_arrive_in_order(
    page: Page, signed_in: BrowserContext, work: Scene, accessible: Judge
) -> None:
    page.goto("/field/")
    expect(page.locator("body")).to_have_attribute("data-pages-kept", "yes")
    page.get_by_role("link", name="After the bend").click()
    signed_in.set_offline(True)
    page.get_by_label("Traverses").select_option("2")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#line")).to_contain_text("1 entry not sent")
    page.get_by_role("link", name="3 Survey, log").click()
    expect(page.locator("#setup-status")).to_contain_text("saved on this device")
    page.get_by_label("Surface cleaned").check()
    page.get_by_label("Start of the log").fill("2026-10-06T09:30")
    rows = log(80).rstrip() + b"\n2026-10-06T07:31:20+00:00,nothing,170\n"
    page.get_by_label("File").set_input_files([{"name": "a.csv", "mimeType": "text/csv", "buffer": rows}])
    page.get_by_role("button", name="Save survey").click()
    expect(page.locator("#line")).to_contain_text("3 entries not sent")
    accessible(page)
    signed_in.set_offline(False)
    expect(page.get_by_text("Rows imported: 80. Rows rejected: 1.")).to_be_visible()
    expect(page.get_by_text("Line 82")).to_be_visible()
    survey = Survey.objects.get()
    assert survey.stated.setup == Setup.objects.get()
    assert survey.job is not None
    assert "not ticked" in survey.stated.note
    assert "Surface cleaned" not in survey.stated.note
    assert Log.objects.get().rows_accepted == 80


def fill_clock(page: Page, readings: list[str]) -> None:
    for place, reading in enumerate(readings):
        page.locator(f"#hour-{place}").fill(reading)


def test_the_measured_mean_becomes_the_wall_and_names_its_wall_measurement(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/wall/")
    fill_clock(page, ["8.02", "7.98", "8.00", "8.00"])
    page.get_by_role("button", name="Save readings").click()
    expect(page.locator("#line")).to_contain_text("Everything has been sent")
    page.get_by_role("link", name="2 Set-up").click()
    page.get_by_role("button", name="Use measured mean").click()
    page.get_by_label("Reason").fill("Gauged at four places.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#kept li.sent").filter(has_text="Set-up")).to_be_visible()
    data = PipeData.objects.get(change="correction")
    assert data.wall_measurement == WallMeasurement.objects.get()
    assert data.wall_thickness_m == pytest.approx(0.008)


def test_a_correction_somebody_else_made_first_holds_back_the_set_up(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    page.get_by_label("Wall thickness").fill("7.5 mm")
    work.correct(0.008)
    page.get_by_label("Reason").fill("Gauged on site.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#kept li.rejected")).to_contain_text("Correction")
    expect(page.locator("#kept li.held")).to_contain_text("Set-up")
    assert not Setup.objects.exists()
    assert PipeData.objects.filter(change="correction").count() == 1
    expect(page.get_by_label("Wall thickness")).to_have_value("7.5 mm")


def test_after_the_session_ends_no_old_response_is_shown_and_work_continues_after_another_sign_in(
    page: Page, signed_in: BrowserContext, work: Scene, accessible: Judge
) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    expect(page.locator("#spacing")).to_be_visible()
    session = [one for one in signed_in.cookies() if one["name"] == "sessionid"]
    signed_in.clear_cookies(name="sessionid")
    page.get_by_label("Wall thickness").fill("8 mm")
    expect(page.locator("#answer")).to_contain_text("You are signed out")
    expect(page.locator("#spacing")).to_have_count(0)
    expect(page.get_by_role("link", name="Sign in (new tab)")).to_have_attribute("href", "/sign-in/")
    accessible(page)
    signed_in.add_cookies(session)  # type: ignore[arg-type]
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(page.locator("#spacing")).to_be_visible()
    expect(page.get_by_label("Wall thickness")).to_have_value("8 mm")


def test_a_medium_requires_its_composition_and_the_record_has_it(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    expect(page.get_by_label("Salinity")).to_be_hidden()
    page.get_by_label("Medium", exact=True).select_option("ethylene-glycol-water")
    page.get_by_label("Mass fraction").fill("thirty")
    expect(page.locator("[id='wrong-medium.mass_fraction']")).to_contain_text("0.3 for 30")
    page.get_by_label("Mass fraction").fill("0.3")
    expect(page.locator("#spacing")).to_be_visible()
    expect(page.locator("#changed")).to_have_text("medium, mass fraction (0 to 1)")
    accessible(page)
    page.get_by_label("Reason").fill("They run on glycol.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.get_by_text("Set-up", exact=False).filter(has_text=": sent")).to_be_visible()
    medium = PipeData.objects.get(change="correction").medium_entry()
    assert (medium.name, medium.mass_fraction) == ("ethylene-glycol-water", 0.3)
    # The page comes anew with what is on record, and asks for nothing of another medium.
    expect(page.get_by_label("Mass fraction")).to_have_value("0.3")
    expect(page.get_by_label("Salinity")).to_be_hidden()
    expect(page.locator("#change")).to_be_hidden()


def test_signing_out_leaves_no_page_of_the_day_on_the_device(page: Page, work: Scene) -> None:
    page.goto("/field/")
    expect(page.locator("body")).to_have_attribute("data-pages-kept", "yes")
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    assert page.evaluate("caches.has('field-pages')") is False


def test_every_page_is_accessible_on_a_wide_screen_in_the_dark(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.set_viewport_size({"width": 1440, "height": 900})
    page.emulate_media(color_scheme="dark")
    page.goto("/field/")
    accessible(page)
    for part in ("", "wall/", "survey/"):
        page.goto(f"/field/points/{work.point.pk}/{part}")
        expect(page.locator("#line")).to_contain_text("Connected")
        accessible(page)


def test_input_after_saving_offline_is_kept_when_the_rest_is_sent(
    page: Page, signed_in: BrowserContext, work: Scene
) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    expect(page.locator("body")).to_have_attribute("data-pages-kept", "yes")
    signed_in.set_offline(True)
    page.get_by_label("Wall thickness").fill("8.0 mm")
    page.get_by_label("Reason").fill("Gauged on site.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#line")).to_contain_text("2 entries not sent")
    page.get_by_label("Outer diameter").fill("219.4 mm")
    signed_in.set_offline(False)
    expect(page.locator("#line")).to_contain_text("Everything has been sent")
    expect(page.get_by_label("Outer diameter")).to_have_value("219.4 mm")
    expect(page.locator("#changed")).to_have_text("outer diameter")
    assert PipeData.objects.get(change="correction").outer_diameter_m == pytest.approx(0.2191)


def test_a_modification_is_dated_and_leaves_the_older_record(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    page.get_by_label("Wall thickness").fill("8.0 mm")
    page.get_by_label("Modification: the pipe was changed").check()
    page.get_by_label("Date of the modification").fill("2026-11-01")
    page.get_by_label("Reason").fill("Section renewed.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#kept li.sent").filter(has_text="Set-up")).to_be_visible()
    assert PipeData.objects.get(change="modification").valid_from.isoformat() == "2026-11-01"
    assert PipeData.objects.filter(change="first").exists()


def test_a_log_on_its_way_shows_how_much_of_it_is_up(
    page: Page, signed_in: BrowserContext, work: Scene
) -> None:
    work.survey()
    page.goto(f"/field/points/{work.point.pk}/survey/?job={work.point.jobs.get().pk}")
    signed_in.set_offline(True)
    page.get_by_label("Start of the log").fill("2026-10-07T09:30")
    file = {"name": "b.csv", "mimeType": "text/csv", "buffer": log(80)}
    page.get_by_label("File").set_input_files([file])
    page.get_by_role("button", name="Save survey").click()
    expect(page.get_by_role("progressbar")).to_be_visible()
    signed_in.set_offline(False)
    expect(page.get_by_text("Rows imported: 80. Rows rejected: 0.")).to_be_visible()
    expect(page.get_by_role("progressbar")).to_have_count(0)


def test_the_result_of_a_log_is_shown_at_the_pipe_with_the_next_step(
    page: Page, work: Scene, accessible: Judge
) -> None:
    work.survey()
    # The wall is 8.0 mm, thicker than on record, so the sound speed does not fit: the transit time by hand is 285.19 us in the water, 8.69 us in
    # the wall and 19.6 us in the wedges.
    page.goto(f"/field/points/{work.point.pk}/survey/")
    page.get_by_label("Start of the log").fill("2026-10-07T09:30")
    file = {"name": "b.csv", "mimeType": "text/csv", "buffer": log(80).replace(b"311.16", b"313.48")}
    page.get_by_label("File").set_input_files([file])
    page.get_by_role("button", name="Save survey").click()
    result = page.get_by_role("region", name="Result")
    expect(result.locator("#flow")).to_contain_text("±")
    expect(result).to_contain_text("Sound speed does not match.")
    expect(result).to_contain_text("difference +1.3\N{NO-BREAK SPACE}%")
    cause = result.get_by_role("listitem").first
    expect(cause).to_contain_text("wall thickness")
    expect(cause).to_contain_text("The wall may be 8.00 mm (entered: 6.30 mm)")
    accessible(page)
    # It is still there when the page is opened again, and leads to where the record is corrected.
    page.reload()
    result.get_by_role("link", name="Open set-up").click()
    expect(page.get_by_label("Wall thickness")).to_have_value("6.3 mm")
    run = work.correct(0.008)
    while recomputation_run(run.pk):
        pass
    page.get_by_role("link", name="3 Survey, log").click()
    expect(result).to_contain_text("Sound speed matches.")
    expect(result).not_to_contain_text("Sound speed does not match.")


def test_a_wall_not_measured_yet_is_not_an_error(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/wall/")
    expect(page.locator("#answer")).to_contain_text("at least 2 positions")
    expect(page.locator(".wrong:not(:empty)")).to_have_count(0)
    fill_clock(page, ["8,0x"])
    expect(page.locator("#answer")).not_to_contain_text("does not respond")
    expect(page.locator(".wrong:not(:empty)")).not_to_have_count(0)


def test_a_scanned_label_shows_whether_the_instrument_can_be_used(
    page: Page, work: Scene, accessible: Judge
) -> None:
    meter, created = work.kit.meter, work.kit.meter.calibrations.get()
    page.goto(f"/instruments/{meter.pk}/")
    expect(page.get_by_role("heading", name=f"Meter {meter.serial}")).to_be_visible()
    expect(page.get_by_text("In service and in calibration.")).to_be_visible()
    expect(page.get_by_text(f"{created.due_on}")).to_be_visible()
    accessible(page)
    to = InstrumentLocation(State.QUARANTINED, "Shelf 3", None)
    instrument_state_change(
        instrument=meter, to=to, reason="Dropped.", by=work.cast.calibration_admin, now=timezone.now()
    )
    page.reload()
    expect(page.get_by_text("Do not use the instrument")).to_be_visible()
    expect(page.get_by_text("Dropped.")).to_be_visible()
    accessible(page)


def test_saved_values_are_shown_in_the_selected_units(page: Page, work: Scene) -> None:
    page.goto(f"/field/points/{work.point.pk}/wall/")
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Show US units").click()
    page.get_by_label("Unit of the readings").select_option("in")
    fill_clock(page, ["0.315", "0.316", "0.314", "0.315"])
    page.get_by_role("button", name="Save readings").click()
    expect(page.locator("#kept li.sent")).to_contain_text("Mean 0.315 in")


def test_the_mean_of_paths_is_the_result_shown_to_the_technician(
    page: Page, work: Scene, accessible: Judge
) -> None:
    first = logged(mounted(work, Mounting(path_angle_deg=0)))
    logged(mounted(work, Mounting(primary_survey=first, path_angle_deg=90)), level=200)
    page.goto(f"/field/points/{work.point.pk}/survey/")
    expect(page.get_by_text("mean of the 2 paths measured together at this point")).to_be_visible()
    expect(page.locator("#path-flow")).to_be_visible()
    expect(page.get_by_text("This path alone")).to_be_visible()
    accessible(page)


def test_linings_inside_the_first_are_entered_and_counted_where_they_are_found(
    page: Page, work: Scene, accessible: Judge
) -> None:
    page.goto(f"/field/points/{work.point.pk}/")
    answer = page.locator("#answer")
    # By hand: 219.1 - 2 (6.3) mm, then less twice each lining.
    expect(answer).to_contain_text("206.5 mm")
    expect(page.get_by_label("Lining 2, inside lining 1")).to_be_hidden()
    page.get_by_label("Lining", exact=True).select_option("cement-mortar")
    page.get_by_label("Lining thickness").fill("4 mm")
    expect(answer).to_contain_text("198.5 mm")
    page.get_by_label("Lining 2, inside lining 1").select_option("epoxy")
    page.get_by_label("Thickness of lining 2").fill("2")
    expect(page.get_by_label("Thickness of lining 2")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("Thickness of lining 2").fill("2 mm")
    expect(answer).to_contain_text("194.5 mm")
    expect(page.locator("#changed")).to_contain_text("thickness of lining 2")
    accessible(page)
    page.get_by_label("Reason").fill("Seen at the flange.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#kept li.sent").filter(has_text="Set-up")).to_be_visible()
    created = PipeData.objects.get(change="correction")
    assert [(one.material.name, one.thickness) for one in created.pipe_entry().further_linings] == [
        ("epoxy", 0.002)
    ]
    # On record it is in sight, and taken away by choosing none.
    expect(page.locator("#change")).to_be_hidden()
    page.get_by_label("Lining 2, inside lining 1").select_option("")
    page.get_by_label("Reason").fill("It was paint.")
    page.get_by_role("button", name="Save set-up").click()
    expect(page.locator("#kept li.sent").filter(has_text="Set-up")).to_have_count(2)
    assert PipeData.objects.get(corrects=created).pipe_entry().further_linings == ()
