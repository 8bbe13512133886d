from django.urls import URLPattern

app_name = "bookings"
urlpatterns: list[URLPattern] = []
