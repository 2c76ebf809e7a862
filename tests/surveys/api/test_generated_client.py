"""A client made from the API's description by an off-the-shelf generator does the main job over HTTP, with no line of its own about paths.

The generator leaves out what it does not know (answers that are PDF or CSV) and says so; all else has to be there.
"""

from __future__ import annotations

import importlib
import io
import json
import subprocess
import sys
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator

from surveys.commands.demo import scenario
from surveys.commands.demo.records import make_job, make_kit, make_pipe, make_point
from surveys.models import Client
from surveys.results.recalculation import recomputation_run

PASSWORD = "a long enough password"
NAME = "client_from_the_description"


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The folder of the client's package."""
    folder = tmp_path_factory.mktemp("generated")
    described = folder / "schema.json"
    described.write_text(
        json.dumps(SchemaGenerator().get_schema(request=None, public=True), default=str), encoding="utf-8"
    )
    command = [
        str(Path(sys.executable).with_name("openapi-python-client")), "generate", "--path", str(described),
        "--meta", "none", "--output-path", str(folder / NAME),
    ]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True, timeout=120, cwd=folder)
    return str(folder)


class Calls:
    """The client's functions and models by name. `signed_in` makes a client; each call closes its own."""

    def __init__(self) -> None:
        self.signed_in: Any = None

    def __call__(self, tag: str, operation: str, *ids: Any, **also: Any) -> Any:
        """The answer of an operation, as the client reads it."""
        call = importlib.import_module(f"{NAME}.api.{tag}.{operation}")
        with self.signed_in() as client:
            found = call.sync_detailed(*ids, client=client, **also)
        assert found.status_code < 300, found.content
        return found.parsed

    def model(self, name: str, **fields: Any) -> Any:
        """A body of the client's own class."""
        return getattr(importlib.import_module(f"{NAME}.models"), name)(**fields)


@pytest.mark.django_db(transaction=True)
def test_the_main_job_by_a_generated_client(
    generated: str, monkeypatch: pytest.MonkeyPatch, cast: Any, live_server: Any
) -> None:
    monkeypatch.syspath_prepend(generated)
    Client.objects.filter(pk=cast.client.pk).update(name=scenario.CLIENT)
    point = make_point(make_pipe(cast.office))
    kit = make_kit(cast.calibration_admin, timezone.now())
    make_job(point, cast.technician, kit)
    package, call = importlib.import_module(NAME), Calls()

    def sign_in(name: str) -> None:
        call.signed_in = partial(package.Client, base_url=live_server.url)
        body = call.model("SignInInRequest", username=name, password=PASSWORD)
        token = call("sign_in", "sign_in_create", body=body).token
        call.signed_in = partial(
            package.AuthenticatedClient, base_url=live_server.url, token=token, prefix="Token"
        )

    sign_in("technician")
    [place] = call("measuring_points", "measuring_points_list").results
    mounting = call.model("MountingInRequest", transducers=kit.pair.pk, traverses=2)
    setup = call("measuring_points", "measuring_points_setups_create", place.id, body=mounting)
    assert setup.spacing.unit == "mm"
    requested = call.model(
        "SurveyInRequest", measuring_point=place.id, setup=setup.id, instruments=[kit.meter.pk],
        started_at=datetime.fromisoformat("2026-10-06T09:30:00+02:00"),
    )  # fmt: skip
    survey = call("surveys", "surveys_create", body=requested)
    file = importlib.import_module(f"{NAME}.types").File(payload=io.BytesIO(scenario.LOG_FILE.read_bytes()))
    log = call("surveys", "surveys_log_create", survey.id, body=file, name="return-line.csv")
    assert log.rows_accepted > 1000
    [first] = call("surveys", "surveys_results_list", survey.id)

    sign_in("office")
    thicker = {"reason": "Gauged.", "pipe": {"wall_thickness": "7.9 mm"}}
    body = importlib.import_module(f"{NAME}.models").CorrectionInRequest.from_dict(thicker)
    recomputation = call("pipes", "pipes_corrections_create", place.pipe, body=body).recomputation
    while recomputation_run(recomputation.id):
        pass
    run = call("recomputations", "recomputations_retrieve", recomputation.id)
    assert run.state.value == "finished"
    latest, before = call("surveys", "surveys_results_list", survey.id)
    assert before.id == first.id
    assert latest.volume_flow.value < before.volume_flow.value
    assert latest.expanded_uncertainty.value > 0

    sign_in("owner")
    [notice] = call("notices", "notices_list").results
    assert notice.kind.value == "changed"
