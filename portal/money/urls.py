from django.urls import path

from portal.money import views

app_name = "money"
urlpatterns = [
    path("bookings/<int:booking_id>/quote/", views.quote, name="quote"),
    path("bookings/<int:booking_id>/quote/preview/", views.preview, name="preview"),
    path("bookings/<int:booking_id>/quote/send/", views.send, name="send"),
    path("quotes/<int:quote_id>/decide/", views.decide, name="decide"),
    path("bookings/<int:booking_id>/payments/", views.payment, name="payment"),
    path("payments/<int:payment_id>/take-back/", views.take_back, name="take-back"),
]
