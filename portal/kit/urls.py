from django.urls import path

from portal.kit import views

app_name = "kit"
urlpatterns = [
    path("worker.js", views.worker, name="worker"),
    path("<int:song_id>/", views.page, name="page"),
    path("<int:song_id>/song.json", views.song_json, name="song"),
    path("<int:song_id>/takes/", views.takes, name="takes"),
    path("<int:song_id>/log/", views.log_take, name="log-take"),
    path("takes/<uuid:take_id>/", views.change_take, name="change-take"),
    path("<int:song_id>/balance/", views.balance, name="balance"),
]
