from django.urls import path

from portal.delivery import views

app_name = "delivery"
urlpatterns = [
    path("songs/<int:song_id>/deliveries/", views.open_delivery, name="open"),
    path("deliveries/<int:delivery_id>/", views.delivery, name="delivery"),
    path("deliveries/<int:delivery_id>/upload/", views.upload, name="upload"),
    path("deliveries/<int:delivery_id>/track-sheet/", views.describe, name="describe"),
    path("deliveries/<int:delivery_id>/check/", views.check, name="check"),
    path("deliveries/<int:delivery_id>/waive/", views.waive, name="waive"),
    path("deliveries/<int:delivery_id>/release/", views.release, name="release"),
    path("deliveries/<int:delivery_id>/accept/", views.accept, name="accept"),
    path("deliveries/<int:delivery_id>/zip/", views.download_zip, name="zip"),
    path("delivery-files/<int:file_id>/", views.file, name="file"),
    path("delivery-files/<int:file_id>/remove/", views.remove, name="remove"),
]
