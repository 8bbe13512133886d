from django.urls import path

from portal.intake.desk import answer_views, file_views, map_views, queue_views, sheet_views, song_views
from portal.intake.retention import views as retention_views

app_name = "intake"
urlpatterns = [
    path("desk/", queue_views.desk, name="desk"),
    path("desk/views/", queue_views.keep_view, name="keep-view"),
    path("desk/views/<int:view_id>/drop/", queue_views.drop_view, name="drop-view"),
    path("songs/<int:song_id>/aside/", queue_views.set_aside, name="set-aside"),
    path("songs/<int:song_id>/take-up/", queue_views.take_up, name="take-up"),
    path("songs/<int:song_id>/files/", song_views.files, name="files"),
    path("songs/<int:song_id>/files/upload/", song_views.plain_upload, name="plain-upload"),
    path("songs/<int:song_id>/files/announce/", song_views.announce, name="announce"),
    path("songs/<int:song_id>/files/all-sent/", song_views.all_sent, name="all-sent"),
    path("songs/<int:song_id>/sheet/", sheet_views.sheet, name="sheet"),
    path("songs/<int:song_id>/approve/", sheet_views.approve, name="approve"),
    path("songs/<int:song_id>/overrule/", sheet_views.overrule, name="overrule"),
    path("songs/<int:song_id>/map/", map_views.tempo_map, name="map"),
    path("songs/<int:song_id>/map/try/", map_views.try_map, name="try-map"),
    path("songs/<int:song_id>/map/keep/", map_views.keep_map, name="keep-map"),
    path("songs/<int:song_id>/taps/", sheet_views.taps, name="taps"),
    path("songs/<int:song_id>/ready/", sheet_views.ready, name="ready"),
    path("songs/<int:song_id>/check/", sheet_views.check_again, name="check-again"),
    path("findings/<int:finding_id>/waive/", sheet_views.waive, name="waive"),
    path("files/<int:source_id>/", file_views.download, name="download"),
    path("files/<int:source_id>/versions/", file_views.versions, name="versions"),
    path("files/<int:source_id>/replace/", file_views.replace, name="replace"),
    path("files/<int:source_id>/bring-back/", file_views.bring_back, name="bring-back"),
    path("bookings/<int:booking_id>/originals/ask/", retention_views.ask_to_keep, name="ask-to-keep"),
    path("bookings/<int:booking_id>/originals/keep/", retention_views.extend, name="keep-longer"),
    path("bookings/<int:booking_id>/originals/let-go/", retention_views.let_go, name="let-go"),
    path("zips/<int:zip_id>/", file_views.zip_as_sent, name="zip"),
    path("files/<int:source_id>/no-click/", song_views.no_click, name="no-click"),
    path("files/<int:source_id>/remove/", song_views.remove, name="remove"),
    path("questions/<int:question_id>/answer/", answer_views.answer, name="answer"),
    path("messages/<int:message_id>/answer/", answer_views.answer_by_old_page, name="answer-by-old-page"),
    path("messages/<int:message_id>/send-answers/", answer_views.send_answers, name="send-answers"),
    path("messages/<int:message_id>/send/", answer_views.send_held, name="send-held"),
]
