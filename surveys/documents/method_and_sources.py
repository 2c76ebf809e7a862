"""Method, sources of the constants, and the records of a report."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext

from compute.base.sources import PRACTICE, Source
from compute.library.liquids import liquids
from compute.library.materials import solids
from compute.results.equations import EQUATIONS
from compute.results.survey import METHODS
from surveys.core.messages.citations import citation
from surveys.core.messages.library import library_title
from surveys.documents.pdf import PdfDocument
from surveys.models import PipeData, Result


def method_and_sources(pdf: PdfDocument, result: Result) -> None:
    """Add the last sections of a report."""
    pdf.heading(gettext("Method and sources"))
    pdf.text(
        gettext(
            "The transit-time difference along an inclined beam gives the velocity along the beam; the transit time gives the sound speed of the "
            "medium. The result is the mean of the flows of all readings used."
        )
    )
    pdf.equations([(gettext(one.name), one.formula, gettext(one.symbols)) for one in EQUATIONS])
    pdf.facts([(gettext("Method version"), _method(result.method_version)), *_sources(result)])
    pdf.heading(gettext("Records"))
    pdf.facts(
        [
            (gettext("Result"), str(result.pk)),
            (gettext("Log file"), result.log.file_name or gettext("no file name")),
            (gettext("SHA-256 of the log file"), result.log.sha256),
            (gettext("Pipe data"), str(result.pipe_data_id)),
            (gettext("Set-up"), str(result.survey_data.setup_id)),
        ]
    )


def _method(version: str) -> str:
    method = next((one for one in METHODS if one.version == version), None)
    if method is None:
        return version
    return gettext("{version} ({day}). {change}").format(
        version=version, day=method.since, change=gettext(method.change)
    )


def _sources(result: Result) -> Iterator[tuple[str, str]]:
    """Yield the sources of library values; those of custom values are in the pipe table."""
    data = result.pipe_data
    wall = dict(_of_wall(data))
    yield from wall.items()
    medium = None if data.custom_medium_data_id else liquids().get(data.medium)
    if medium:
        yield (
            gettext("Properties of {medium}").format(medium=library_title(medium.title)),
            citation(medium.source),
        )
    yield (
        gettext("Uncertainty"),
        gettext(
            "Evaluated according to JCGM 100:2008 (GUM). Where no uncertainty was measured or certified, default values based on "
            "engineering judgement are used."
        ),
    )
    cited = {citation(Source(**one["source"])) for one in result.findings} - {
        citation(PRACTICE),
        *wall.values(),
    }
    if limits := sorted(cited):
        yield gettext("Limits of the findings"), "; ".join(limits)


def _of_wall(data: PipeData) -> Iterator[tuple[str, str]]:
    wall = None if data.custom_material_data_id else {one.name: one for one in solids()}.get(data.material)
    if wall is None:
        return
    yield (
        gettext("Sound speeds of {material}").format(material=library_title(wall.title)),
        citation(wall.source_sound),
    )
    if data.roughness_m is None and wall.source_roughness:
        yield gettext("Roughness"), citation(wall.source_roughness)
