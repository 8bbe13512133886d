from django.urls import path

from portal.prep import views

app_name = "prep"
urlpatterns = [path("prepared/<int:prepared_id>/", views.file, name="file")]
