"""Every address of the site: the apps' own pages, signing in and out, the admin, and a sign of life."""

from csp.decorators import csp_update
from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import include, path
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe
from drf_spectacular.views import SpectacularJSONAPIView, SpectacularSwaggerSplitView
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from inventory.errors import Reason
from inventory.preferences import prefer
from inventory.refusals import errors
from repairs.wording import say

# The page that shows the schema writes styles and pictures of its own.
_SWAGGER = {"style-src": ["'self'", "'unsafe-inline'"], "img-src": ["'self'", "data:"]}


@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """Answers "ok" while the database answers, for whatever watches the service."""
    with connection.cursor() as cursor:
        cursor.execute("select 1")
    return HttpResponse("ok", content_type="text/plain")


def _refused(request: HttpRequest, reason: Reason, status: int) -> HttpResponse:
    """A refusal in the shape of whoever asks: a program gets JSON, a person a sheet."""
    if request.path.startswith("/api/"):
        return JsonResponse(errors([reason], sentence=say), status=status)
    return render(request, "refused.html", {"sentence": say(reason)}, status=status)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """What is not there."""
    return _refused(request, getattr(exception, "reason", Reason("page_unknown")), 404)


def not_allowed(request: HttpRequest, exception: Exception) -> HttpResponse:
    """What takes another role."""
    return _refused(request, getattr(exception, "reason", Reason("not_allowed")), 403)


def page_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without the token that belongs to it, as a page that stood open overnight has."""
    return _refused(request, Reason("page_too_old"), 403)


def prefer_units(request: HttpRequest) -> HttpResponse:
    """Millimetres or inches first, from now on."""
    prefer(request, request.POST.get("units", ""))
    back = request.POST.get("back", "/")
    # Without a slash in front it would be taken for the name of a view.
    here = back.startswith("/") and url_has_allowed_host_and_scheme(back, allowed_hosts=None)
    return redirect(back if here else "/")


class Browser(SpectacularSwaggerSplitView):
    """The schema, to be read and tried in a browser; what it refuses it refuses as the endpoints do."""

    http_method_names = ("get", "head")  # what OPTIONS would tell is a document, for which there is no page

    def handle_exception(self, exc: Exception) -> Response:
        """As JSON, since no page of ours stands behind a refusal here."""
        self.request.accepted_renderer, self.request.accepted_media_type = JSONRenderer(), JSONRenderer.media_type
        return super().handle_exception(exc)


handler404 = "repairs.site.urls.not_found"
handler403 = "repairs.site.urls.not_allowed"

urlpatterns = [
    path("units/", require_POST(prefer_units), name="units"),
    path("api/schema/", SpectacularJSONAPIView.as_view(), name="api-schema"),
    path("api/", csp_update(_SWAGGER)(Browser.as_view(url_name="api-schema")), name="api"),
    path("healthz", healthz, name="healthz"),
    path("login/", LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("admin/", admin.site.urls),
    path("", include("inventory.urls")),
    path("", include("repairs.urls")),
]
