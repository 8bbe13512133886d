from django.urls import URLPattern

app_name = "prep"
urlpatterns: list[URLPattern] = []
