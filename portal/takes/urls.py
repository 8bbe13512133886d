from django.urls import path

from portal.takes import listen_views, views

app_name = "takes"
urlpatterns = [
    path("songs/<int:song_id>/track/", views.track, name="track"),
    path("songs/<int:song_id>/rough-mixes/", views.rough_mixes, name="rough-mixes"),
    path("songs/<int:song_id>/rough-mixes/upload/", views.upload, name="upload"),
    path("rough-mixes/<int:rough_mix_id>/send/", views.send, name="send"),
    path("rough-mixes/<int:rough_mix_id>/decide/", views.decide, name="decide"),
    path("songs/<int:song_id>/listen/", listen_views.listen, name="listen"),
    path("songs/<int:song_id>/listen/music/", listen_views.music, name="music"),
    path("rough-mixes/<int:rough_mix_id>/sound/", listen_views.sound, name="sound"),
    path("songs/<int:song_id>/notes/", listen_views.notes, name="notes"),
    path("rough-mixes/<int:rough_mix_id>/notes/", listen_views.leave_note, name="leave-note"),
    path("bar-notes/<int:note_id>/answer/", listen_views.answer_note, name="answer-note"),
    path("bar-notes/<int:note_id>/done/", listen_views.mark_note, name="mark-note"),
    path("bar-notes/<int:note_id>/take-back/", listen_views.take_back_note, name="take-back-note"),
    path("rough-mixes/<int:rough_mix_id>/audio/", views.audio, name="audio"),
]
