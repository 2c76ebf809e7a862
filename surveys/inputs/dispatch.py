"""Handovers of booked instruments as typed."""

from __future__ import annotations

from rest_framework import serializers

from surveys.inputs.fields import StrictSerializer, TextField


class HandoverIn(StrictSerializer):
    at = serializers.DateTimeField(required=False, help_text="Time. Default: now.")
    condition = TextField(max_length=200)
    note = TextField(max_length=5000, required=False, allow_blank=True)
