"""Addresses of the repair pages."""

from django.urls import path

from repairs import views

urlpatterns = [path("", views.today, name="today")]
