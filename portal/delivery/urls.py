from django.urls import path

from portal.delivery import download_views, views
from portal.delivery.sheet import views as sheet_views

app_name = "delivery"
urlpatterns = [
    path("songs/<int:song_id>/deliveries/", views.open_delivery, name="open"),
    path("deliveries/<int:delivery_id>/", views.delivery, name="delivery"),
    path("deliveries/<int:delivery_id>/upload/", views.upload, name="upload"),
    path("deliveries/<int:delivery_id>/describe/", views.describe, name="describe"),
    path("deliveries/<int:delivery_id>/check/", views.check, name="check"),
    path("deliveries/<int:delivery_id>/repair/", views.repair, name="repair"),
    path("deliveries/<int:delivery_id>/waive/", views.waive, name="waive"),
    path("deliveries/<int:delivery_id>/release/", views.release, name="release"),
    path("deliveries/<int:delivery_id>/accept/", views.accept, name="accept"),
    path("deliveries/<int:delivery_id>/zip/", download_views.download_zip, name="zip"),
    path("deliveries/<int:delivery_id>/changes/", download_views.download_changes, name="changes"),
    path("deliveries/<int:delivery_id>/sheet/", sheet_views.sheet, name="sheet"),
    path("deliveries/<int:delivery_id>/sheet.pdf", sheet_views.sheet_pdf, name="sheet-pdf"),
    path("deliveries/<int:delivery_id>/sheet.json", sheet_views.sheet_json, name="sheet-json"),
    path("deliveries/<int:delivery_id>/photos/", sheet_views.upload_photo, name="upload-photo"),
    path("kit-photos/<int:photo_id>/", sheet_views.photo, name="photo"),
    path("kit-photos/<int:photo_id>/remove/", sheet_views.remove, name="remove-photo"),
    path("deliveries/<int:delivery_id>/share/", views.share, name="share"),
    path("share-links/<int:link_id>/withdraw/", views.withdraw_link, name="withdraw-link"),
    path("shared/<str:link_token>/", download_views.shared, name="shared"),
    path("shared/<str:link_token>/zip/", download_views.shared_zip, name="shared-zip"),
    path("shared-files/<str:link_token>/", download_views.shared_file, name="shared-file"),
    path("delivery-files/<int:file_id>/", download_views.file, name="file"),
    path("delivery-files/<int:file_id>/remove/", views.remove, name="remove"),
]
