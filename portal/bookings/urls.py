from django.urls import path

from portal.bookings import correction_views, views

app_name = "bookings"
urlpatterns = [
    path("", views.home, name="home"),
    path("board/", views.board, name="board"),
    path("archive/", views.archive, name="archive"),
    path("bookings/new/", views.new, name="new"),
    path("bookings/<int:booking_id>/", views.booking, name="booking"),
    path("bookings/<int:booking_id>/songs/", views.add_song, name="add-song"),
    path("bookings/<int:booking_id>/correct/", correction_views.correct, name="correct"),
    path("bookings/<int:booking_id>/correct/songs/", correction_views.correct_songs, name="correct-songs"),
    path("bookings/<int:booking_id>/due/", correction_views.answer_due, name="answer-due"),
    path("seats/<int:member_id>/withdraw/", correction_views.withdraw_seat, name="withdraw-seat"),
    path("songs/<int:song_id>/take-out/", correction_views.take_out, name="take-out"),
    path("songs/<int:song_id>/put-back/", correction_views.put_back, name="put-back"),
    path("bookings/<int:booking_id>/cancel/", views.cancel, name="cancel"),
    path("songs/<int:song_id>/", views.song, name="song"),
    path("songs/<int:song_id>/brief/", views.brief, name="brief"),
]
