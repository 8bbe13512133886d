from django.urls import path

from portal.takes import views

app_name = "takes"
urlpatterns = [
    path("songs/<int:song_id>/track/", views.track, name="track"),
    path("songs/<int:song_id>/rough-mixes/", views.rough_mixes, name="rough-mixes"),
    path("songs/<int:song_id>/rough-mixes/upload/", views.upload, name="upload"),
    path("rough-mixes/<int:rough_mix_id>/send/", views.send, name="send"),
    path("rough-mixes/<int:rough_mix_id>/decide/", views.decide, name="decide"),
    path("rough-mixes/<int:rough_mix_id>/audio/", views.audio, name="audio"),
]
