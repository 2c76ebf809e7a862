"""What a report rests on: the method, where its constants come from, and the records it was computed from."""

from __future__ import annotations

from collections.abc import Iterator

from compute.base.sources import PRACTICE, Source
from compute.library.liquids import liquids
from compute.library.materials import solids
from compute.results.survey import METHODS
from surveys.documents.pdf import PdfDocument
from surveys.models import PipeData, Result


def method_and_sources(pdf: PdfDocument, result: Result) -> None:
    """The last sections of a report."""
    pdf.heading("Method and sources")
    pdf.text(
        "Transit-time difference along an inclined beam; the sound speed of the medium is measured with it, not assumed. Mean velocity "
        "from the velocity along the beam by the logarithmic profile with the friction factor of Colebrook and White; refraction by "
        "Snell's law. Each reading becomes a flow, and the result is their mean."
    )
    method = next((one for one in METHODS if one.version == result.method_version), None)
    version = (
        f"{result.method_version}, of {method.since}: {method.change}" if method else result.method_version
    )
    pdf.facts([("Method version", version), *_sources(result)])
    pdf.heading("Records")
    pdf.facts(
        [
            ("Result", str(result.pk)),
            ("Logger file", result.log.file_name or "without a name"),
            ("Its SHA-256", result.log.sha256),
            ("Pipe data", str(result.pipe_data_id)),
            ("Set-up", str(result.survey_data.setup_id)),
        ]
    )


def _sources(result: Result) -> Iterator[tuple[str, str]]:
    """Where constants of the library come from; how the office's own are known is told with the pipe."""
    data = result.pipe_data
    wall = dict(_of_wall(data))
    yield from wall.items()
    medium = None if data.custom_medium_data_id else liquids().get(data.medium)
    if medium:
        yield f"Properties of {data.medium}", medium.source.citation
    yield "Uncertainty", "JCGM 100:2008; uncertainties that no record states are default values"
    cited = {Source(**one["source"]).citation for one in result.findings} - {
        PRACTICE.citation,
        *wall.values(),
    }
    if checks := sorted(cited):
        yield "Limits of the checks", "; ".join(checks)


def _of_wall(data: PipeData) -> Iterator[tuple[str, str]]:
    wall = None if data.custom_material_data_id else {one.name: one for one in solids()}.get(data.material)
    if wall is None:
        return
    yield f"Sound speeds of {data.material}", wall.source_sound.citation
    if data.roughness_m is None and wall.source_roughness:
        yield "Its roughness", wall.source_roughness.citation
