"""Every address of the portal, app by app."""

from django.contrib import admin
from django.urls import include, path

from portal.health import health
from portal.people.forms import SupportSignInForm

admin.site.login_form = SupportSignInForm
urlpatterns = [
    path("healthz", health, name="health"),
    path("", include("portal.people.urls")),
    path("", include("portal.bookings.urls")),
    path("", include("portal.mailroom.urls")),
    path("tus/", include("portal.uploads.urls")),
    path("", include("portal.intake.urls")),
    path("", include("portal.lanes.urls")),
    path("", include("portal.listening.urls")),
    path("", include("portal.charts.urls")),
    path("", include("portal.prep.urls")),
    path("kit/", include("portal.kit.urls")),
    path("", include("portal.takes.urls")),
    path("", include("portal.delivery.urls")),
    path("", include("portal.money.urls")),
    path("search/", include("portal.search.urls")),
    path("support/", admin.site.urls),
]
