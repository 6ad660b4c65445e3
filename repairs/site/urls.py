"""Every address of the site: the apps' own pages, signing in and out, the admin, and a sign of life."""

from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.urls import include, path
from django.views.decorators.http import require_safe


@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """Answers "ok" while the database answers, for whatever watches the service."""
    with connection.cursor() as cursor:
        cursor.execute("select 1")
    return HttpResponse("ok", content_type="text/plain")


urlpatterns = [
    path("healthz", healthz, name="healthz"),
    path("login/", LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("admin/", admin.site.urls),
    path("", include("inventory.urls")),
    path("", include("repairs.urls")),
]
