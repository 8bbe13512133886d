from django.urls import path

from portal.charts import views

app_name = "charts"
urlpatterns = [
    path("songs/<int:song_id>/chart/", views.chart, name="chart"),
    path("songs/<int:song_id>/chart/draft/", views.draft, name="draft"),
    path("songs/<int:song_id>/chart/musicxml/", views.take_musicxml, name="musicxml"),
    path("songs/<int:song_id>/chart/try/", views.look_at, name="try"),
    path("songs/<int:song_id>/chart/save/", views.save, name="save"),
    path("songs/<int:song_id>/chart/pages/", views.pages, name="pages"),
    path("chart-versions/<int:version_id>/share/", views.share, name="share"),
    path("chart-versions/<int:version_id>/restore/", views.restore, name="restore"),
    path("chart-files/<int:chart_file_id>/", views.file, name="file"),
]
