from django.urls import path

from portal.lanes import views

app_name = "lanes"
urlpatterns = [
    path("songs/<int:song_id>/lanes.json", views.lanes, name="lanes"),
    path("songs/<int:song_id>/playing.json", views.playing, name="playing"),
    path("files/<int:source_id>/pyramid/", views.pyramid, name="pyramid"),
    path("files/<int:source_id>/onsets/", views.onsets, name="onsets"),
    path("clicks/", views.click, name="click"),
    path("files/<int:source_id>/sound/", views.sound, name="sound"),
]
