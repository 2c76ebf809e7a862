"""Findings, their sources and calculated set-ups in answers, of calculations without records and of records."""

from __future__ import annotations

from rest_framework import serializers

from surveys.api.fields import QuantityOut
from surveys.api.messages import MessageParametersField


class AnglesOut(serializers.Serializer):
    wall = QuantityOut()
    lining = QuantityOut(required=False)
    medium = QuantityOut()


class SourceOut(serializers.Serializer):
    text = serializers.CharField(help_text="Author or standard, edition, table or clause.")
    provenance = serializers.ChoiceField(
        ["published", "derived", "unverified", "default"],
        help_text="published: in the publication; derived: calculated from it; unverified: not verified against the source; default: "
        "common practice, no publication.",
    )


class FindingOut(serializers.Serializer):
    code = serializers.CharField(help_text="Stable code; `/help/codes/` explains every code.")
    severity = serializers.ChoiceField(["error", "warning", "info"])
    field = serializers.CharField(
        help_text="Path in the request, such as pipe.wall_thickness; empty if none."
    )
    title = serializers.CharField(help_text="Verdict in a few words.")
    detail = serializers.CharField(help_text="Observed and expected values, in the requested units.")
    remedy = serializers.CharField(help_text="Recommended action; may be empty.")
    parameters = MessageParametersField()
    source = SourceOut()


class SafetyNoteOut(serializers.Serializer):
    code = serializers.CharField()
    title = serializers.CharField()
    detail = serializers.CharField()
    remedy = serializers.CharField()
    parameters = MessageParametersField()
    source = SourceOut()


class AlternativeOut(serializers.Serializer):
    """Null throughout where no beam passes; a finding then says why."""

    traverses = serializers.IntegerField(allow_null=True)
    sides = serializers.ChoiceField(["same", "opposite"], allow_null=True)
    spacing = QuantityOut(
        allow_null=True,
        help_text="Spacing between the facing ends of the transducers along the pipe; null if no beam passes.",
    )
    axial_advance = QuantityOut(allow_null=True)
    bore = QuantityOut()
    wave_mode_in_wall = serializers.ChoiceField(["longitudinal", "shear"], allow_null=True)
    wave_mode_in_lining = serializers.ChoiceField(["longitudinal", "shear"], allow_null=True)
    angles = AnglesOut(allow_null=True)
    transit_time = QuantityOut(allow_null=True)
    time_in_medium = QuantityOut(allow_null=True)
    time_difference_per_velocity = QuantityOut(allow_null=True)


class MediumOut(serializers.Serializer):
    sound_speed = QuantityOut()
    density = QuantityOut()
    dynamic_viscosity = QuantityOut()


class SpacingOut(AlternativeOut):
    medium = MediumOut(allow_null=True)
    alternatives = AlternativeOut(many=True)
    findings = FindingOut(many=True)
    safety_notes = SafetyNoteOut(many=True)
