from django.urls import path

from portal.score import views

app_name = "score"
urlpatterns = [
    path("songs/<int:song_id>/score.json", views.score, name="score"),
    path("files/<int:source_id>/pyramid/", views.pyramid, name="pyramid"),
    path("files/<int:source_id>/onsets/", views.onsets, name="onsets"),
    path("files/<int:source_id>/sound/", views.sound, name="sound"),
]
