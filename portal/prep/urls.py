from django.urls import path

from portal.prep import views

app_name = "prep"
urlpatterns = [
    path("prepared/<int:prepared_id>/", views.file, name="file"),
    path("songs/<int:song_id>/session-pack/", views.make_pack, name="make-pack"),
    path("songs/<int:song_id>/preparing/", views.choose, name="choose"),
    path("songs/<int:song_id>/click/", views.make_click, name="make-click"),
    path("session-packs/<int:pack_id>/zip/", views.download_pack, name="zip"),
    path("clicks-and-packs/", views.house, name="house"),
]
