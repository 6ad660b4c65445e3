"""Addresses of the crib: its pages, and what other programs ask."""

from django.urls import path

from inventory import api
from inventory.views.threads import threads

urlpatterns = [
    path("threads/", threads, name="threads"),
    path("api/threads/", api.thread, name="api-thread"),
    path("api/threads/identify/", api.identified, name="api-identify"),
]
