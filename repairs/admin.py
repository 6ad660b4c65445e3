"""The back room: all that is kept about repairs, to look at; append-only tables cannot be changed."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from repairs.models import APPEND_ONLY, Hole, HoleGroup, Job, Part, Position


class ReadOnly(admin.ModelAdmin):
    """Rows that are only ever added to, by the acts of the rooms."""

    def has_add_permission(self, request: HttpRequest, *args: Any) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class JobAdmin(admin.ModelAdmin):
    list_display = ("number", "owner", "site", "start", "end", "state")
    list_filter = ("state", "site")
    search_fields = ("number", "owner")
    readonly_fields = ("reservation",)


class HoleGroupAdmin(admin.ModelAdmin):
    list_display = ("job", "code", "as_typed", "through", "material", "accepted")
    search_fields = ("job__number", "as_typed")
    # Written by the act alone: half of an acceptance is none.
    readonly_fields = (
        "accepted", "accepted_size", "accepted_code", "accepted_by", "accepted_at", "overruled", "overruled_by",
        "overruled_why",
    )  # fmt: skip


admin.site.register(Job, JobAdmin)
admin.site.register(HoleGroup, HoleGroupAdmin)
admin.site.register([Part, Position, Hole])
admin.site.register(APPEND_ONLY, ReadOnly)
