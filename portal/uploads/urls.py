from django.urls import path

from portal.uploads import views

app_name = "uploads"
urlpatterns = [
    path("", views.create, name="create"),
    path("<uuid:upload_id>/", views.upload, name="upload"),
]
