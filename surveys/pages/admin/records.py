"""The Django admin of the records: view all records and change those that may be changed.

Records that results are based on are read-only here; corrections go through their service.
"""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.contrib.admin.options import BaseModelAdmin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.forms import AdminPasswordChangeForm
from django.db.models import Model
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from surveys import models
from surveys.services.audit import record_changed, record_created, record_values
from surveys.services.people.sign_in import password_change


class AuditedAdmin(admin.ModelAdmin):
    """Write additions and changes to the audit log."""

    def save_model(self, request: HttpRequest, obj: Model, form: Any, change: bool) -> None:
        form.before = record_values(obj) if change else {}
        super().save_model(request, obj, form, change)

    def save_related(self, request: HttpRequest, form: Any, formsets: Any, change: bool) -> None:
        super().save_related(request, form, formsets, change)
        if change:
            record_changed(form.instance, form.before)
        else:
            record_created(form.instance)


class NewPasswordForm(AdminPasswordChangeForm):
    """Revoke the tokens and end the sessions of a user whose password is set."""

    def save(self, commit: bool = True) -> Any:
        password_change(user=self.user, new=self.cleaned_data["password1"], now=timezone.now())
        return self.user


@admin.register(models.User)
class PeopleAdmin(AuditedAdmin, UserAdmin):
    change_password_form = NewPasswordForm
    list_display = ["username", "email", "role", "client", "is_active"]
    list_filter = ["role", "client", "is_active"]
    fieldsets = (*(UserAdmin.fieldsets or ()), (_("Role"), {"fields": ["role", "client"]}))
    add_fieldsets = (*UserAdmin.add_fieldsets, (_("Role"), {"fields": ["role", "client"]}))

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        # A user is deactivated through the API; the records of the user stay.
        return False


class ReasonAsText(BaseModelAdmin):
    """Show a `ReasonField` as text and not as JSON."""

    exclude = ("reason",)
    readonly_fields = ("reason_text",)

    @admin.display(description=_("reason"))
    def reason_text(self, record: Any) -> str:
        return str(record.reason)


class RetainedAdmin(AuditedAdmin):
    """A record that may be changed but not deleted; archive it instead. Its owner is fixed."""

    belongs_to = ""

    def get_readonly_fields(self, request: HttpRequest, obj: Model | None = None) -> Any:
        fixed = [self.belongs_to] if obj is not None and self.belongs_to else []
        return [*super().get_readonly_fields(request, obj), *fixed]

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


class ImmutableAdmin(RetainedAdmin):
    """A read-only record."""

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


class ImmutableInline(admin.TabularInline):
    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


@admin.register(models.Client)
class ClientAdmin(RetainedAdmin):
    list_display = ["name", "retired_at"]
    search_fields = ["name", "contact"]


@admin.register(models.Site)
class SiteAdmin(RetainedAdmin):
    belongs_to = "client"
    list_display = ["name", "client", "time_zone", "retired_at"]
    list_filter = ["client"]
    search_fields = ["name", "address", "client__name"]
    list_select_related = ["client"]


@admin.register(models.Pipe)
class PipeAdmin(RetainedAdmin):
    belongs_to = "site"
    list_display = ["name", "site", "retired_at"]
    list_filter = ["site__client"]
    search_fields = ["name", "site__name"]
    list_select_related = ["site"]


@admin.register(models.PipeData)
class PipeDataAdmin(ReasonAsText, ImmutableAdmin):
    list_display = [
        "pipe",
        "change",
        "valid_from",
        "recorded_at",
        "outer_diameter_m",
        "wall_thickness_m",
        "reason_text",
    ]
    list_filter = ["change", "pipe__site__client"]
    search_fields = ["pipe__name", "pipe__site__name", "reason"]
    date_hierarchy = "recorded_at"
    list_select_related = ["pipe"]


class CustomMaterialDataInline(ReasonAsText, ImmutableInline):
    model = models.CustomMaterialData


@admin.register(models.CustomMaterial)
class CustomMaterialAdmin(ImmutableAdmin):
    list_display = ["name", "title", "use"]
    search_fields = ["name", "title"]
    inlines = [CustomMaterialDataInline]


class CustomMediumDataInline(ReasonAsText, ImmutableInline):
    model = models.CustomMediumData


@admin.register(models.CustomMedium)
class CustomMediumAdmin(ImmutableAdmin):
    list_display = ["name", "title", "use"]
    search_fields = ["name", "title"]
    inlines = [CustomMediumDataInline]


@admin.register(models.WallMeasurement)
class WallMeasurementAdmin(ImmutableAdmin):
    list_display = ["pipe", "taken_at", "mean_m", "standard_deviation_m", "gauge"]
    search_fields = ["pipe__name", "gauge__serial"]
    list_select_related = ["pipe", "gauge"]


@admin.register(models.MeasuringPoint)
class MeasuringPointAdmin(RetainedAdmin):
    belongs_to = "pipe"
    list_display = [
        "name",
        "pipe",
        "upstream_disturbance",
        "upstream_straight_length_m",
        "downstream_straight_length_m",
    ]
    list_filter = ["upstream_disturbance", "pipe__site__client"]
    search_fields = ["name", "pipe__name", "pipe__site__name"]
    list_select_related = ["pipe"]


@admin.register(models.Setup)
class SetupAdmin(ImmutableAdmin):
    list_display = ["measuring_point", "calculated_at", "traverses", "spacing_m", "calculated_by"]
    search_fields = ["measuring_point__name"]
    list_select_related = ["measuring_point", "calculated_by"]


class TransducerDataInline(ReasonAsText, ImmutableInline):
    model = models.TransducerData


class CalibrationInline(ImmutableInline):
    model = models.Calibration
    fields = ["certificate", "laboratory", "calibrated_on", "due_on", "note"]


class InstrumentStateInline(ReasonAsText, ImmutableInline):
    model = models.InstrumentState


class CalibrationPointInline(ImmutableInline):
    model = models.CalibrationPoint


@admin.register(models.Instrument)
class InstrumentAdmin(RetainedAdmin):
    list_display = ["serial", "kind", "type_name", "asset_number", "state", "location", "holder"]
    list_filter = ["kind", "state"]
    list_select_related = ["holder"]
    search_fields = ["serial", "asset_number", "type_name", "location"]
    # The service changes these fields with a reason and keeps their history.
    readonly_fields = ["state", "location", "holder"]
    inlines = [InstrumentStateInline, TransducerDataInline, CalibrationInline]


@admin.register(models.Calibration)
class CalibrationAdmin(ImmutableAdmin):
    list_display = ["instrument", "certificate", "laboratory", "calibrated_on", "due_on"]
    list_filter = ["laboratory", "instrument__kind"]
    search_fields = ["certificate", "instrument__serial"]
    date_hierarchy = "due_on"
    list_select_related = ["instrument"]
    inlines = [CalibrationPointInline]


@admin.register(models.AcceptancePolicy, models.ErrorCorrectionPolicy, models.IntervalPolicy)
class PolicyAdmin(ReasonAsText, ImmutableAdmin):
    list_display = ["kind", "type_name", "instrument", "recorded_at", "recorded_by"]
    list_filter = ["kind"]
    search_fields = ["type_name", "instrument__serial"]
    list_select_related = ["instrument", "recorded_by"]


@admin.register(models.InstrumentType)
class InstrumentTypeAdmin(RetainedAdmin):
    list_display = ["kind", "name"]
    list_filter = ["kind"]
    search_fields = ["name"]


@admin.register(models.Document)
class DocumentAdmin(ImmutableAdmin):
    list_display = ["title", "file_name", "instrument", "calibration", "size_bytes", "received_at"]
    search_fields = ["title", "file_name", "sha256"]
    list_select_related = ["instrument", "calibration"]


@admin.register(models.CalibrationReminder)
class CalibrationReminderAdmin(ImmutableAdmin):
    list_display = ["instrument", "due_on", "threshold_days", "sent_at"]
    search_fields = ["instrument__serial"]
    list_select_related = ["instrument"]


@admin.register(models.Job)
class JobAdmin(RetainedAdmin):
    list_display = ["title", "site", "state", "starts_at", "ends_at", "technician"]
    list_filter = ["state", "technician"]
    search_fields = ["title", "site__name"]
    list_select_related = ["site", "technician"]


class SurveyDataInline(ImmutableInline):
    model = models.SurveyData


class SiteMeterReadingInline(ImmutableInline):
    model = models.SiteMeterReading


@admin.register(models.Survey)
class SurveyAdmin(ImmutableAdmin):
    inlines = [SurveyDataInline, SiteMeterReadingInline]
    list_display = ["measuring_point", "started_at", "technician", "job"]
    list_filter = ["technician", "measuring_point__pipe__site__client"]
    search_fields = ["measuring_point__name", "measuring_point__pipe__site__name"]
    date_hierarchy = "started_at"
    list_select_related = ["measuring_point", "technician", "job"]


@admin.register(models.Log)
class LogAdmin(ImmutableAdmin):
    list_display = ["survey", "file_name", "rows_accepted", "rows_rejected", "received_at", "sha256"]
    search_fields = ["file_name", "sha256"]


@admin.register(models.LogFormat)
class LogFormatAdmin(RetainedAdmin):
    list_display = ["name", "created_by", "created_at", "retired_at"]
    search_fields = ["name"]


@admin.register(models.Result)
class ResultAdmin(ImmutableAdmin):
    list_display = [
        "survey",
        "computed_at",
        "cause",
        "volume_flow_m3_s",
        "expanded_uncertainty_m3_s",
        "replaced_at",
    ]
    list_filter = ["cause", "method_version"]
    search_fields = ["survey__measuring_point__name"]
    date_hierarchy = "computed_at"


class CombinationPartInline(ImmutableInline):
    model = models.CombinationPart


@admin.register(models.Combination)
class CombinationAdmin(ImmutableAdmin):
    list_display = ["name", "kind", "site", "created_at", "created_by", "retired_at"]
    list_filter = ["kind", "site__client"]
    search_fields = ["name", "site__name"]
    inlines = [CombinationPartInline]
    list_select_related = ["site", "created_by"]


@admin.register(models.CombinedResult)
class CombinedResultAdmin(ImmutableAdmin):
    list_display = [
        "combination",
        "computed_at",
        "cause",
        "volume_flow_m3_s",
        "expanded_uncertainty_m3_s",
        "replaced_at",
    ]
    list_filter = ["cause", "method_version", "combination__kind"]
    search_fields = ["combination__name"]
    date_hierarchy = "computed_at"
    list_select_related = ["combination"]


class RecomputationItemInline(ImmutableInline):
    model = models.RecomputationItem
    fields = [
        "survey",
        "combination",
        "state",
        "attempts",
        "error",
        "before",
        "after",
        "before_combined",
        "after_combined",
    ]


@admin.register(models.Recomputation)
class RecomputationAdmin(ReasonAsText, ImmutableAdmin):
    list_display = ["pipe", "cause", "state", "requested_at", "requested_by", "finished_at"]
    list_filter = ["state", "cause"]
    search_fields = ["pipe__name", "reason"]
    inlines = [RecomputationItemInline]
    list_select_related = ["pipe", "requested_by"]


@admin.register(models.Notice)
class NoticeAdmin(ReasonAsText, ImmutableAdmin):
    list_display = ["client", "created_at", "relative_change", "acknowledged_at"]
    list_filter = ["client"]
    search_fields = ["reason", "client__name"]
    date_hierarchy = "created_at"
    list_select_related = ["client"]


@admin.register(models.AuditEntry)
class AuditEntryAdmin(ImmutableAdmin):
    list_display = ["at", "action", "actor_name", "record_type", "record_name"]
    list_filter = ["action", "record_type"]
    search_fields = ["actor_name", "record_name"]
    date_hierarchy = "at"


@admin.register(models.ApiToken)
class ApiTokenAdmin(ImmutableAdmin):
    fields = ["user", "name", "scope", "created", "expiry", "last_used_at", "revoked_at"]
    list_display = ["user", "name", "scope", "expiry", "last_used_at", "revoked_at"]
    list_filter = ["scope"]
    search_fields = ["name", "user__username"]
    list_select_related = ["user"]
