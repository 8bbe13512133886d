from django.urls import path

from portal.intake import desk_views, views

app_name = "intake"
urlpatterns = [
    path("desk/", desk_views.desk, name="desk"),
    path("songs/<int:song_id>/files/", views.files, name="files"),
    path("songs/<int:song_id>/files/upload/", views.plain_upload, name="plain-upload"),
    path("songs/<int:song_id>/sheet/", desk_views.sheet, name="sheet"),
    path("songs/<int:song_id>/approve/", desk_views.approve, name="approve"),
    path("songs/<int:song_id>/overrule/", desk_views.overrule, name="overrule"),
    path("songs/<int:song_id>/ready/", desk_views.ready, name="ready"),
    path("songs/<int:song_id>/check/", desk_views.check_again, name="check-again"),
    path("findings/<int:finding_id>/waive/", desk_views.waive, name="waive"),
    path("files/<int:source_id>/", views.download, name="download"),
    path("files/<int:source_id>/wave.json", views.wave, name="wave"),
    path("files/<int:source_id>/remove/", views.remove, name="remove"),
    path("messages/<int:message_id>/answer/", views.answer, name="answer"),
    path("messages/<int:message_id>/send/", desk_views.send_held, name="send-held"),
]
