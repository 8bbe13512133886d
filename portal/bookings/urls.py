from django.urls import path

from portal.bookings import views

app_name = "bookings"
urlpatterns = [
    path("", views.home, name="home"),
    path("board/", views.board, name="board"),
    path("archive/", views.archive, name="archive"),
    path("bookings/new/", views.new, name="new"),
    path("bookings/<int:booking_id>/", views.booking, name="booking"),
    path("bookings/<int:booking_id>/songs/", views.add_song, name="add-song"),
    path("bookings/<int:booking_id>/cancel/", views.cancel, name="cancel"),
    path("songs/<int:song_id>/", views.song, name="song"),
    path("songs/<int:song_id>/brief/", views.brief, name="brief"),
]
