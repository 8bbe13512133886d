"""Multitracks as sets, and who was given them."""

from portal.delivery.models.release import Receipt, ShareLink
from portal.delivery.models.sets import Delivery, DeliveryFile, Waiver, is_undecided, key_of

__all__ = ["Delivery", "DeliveryFile", "Receipt", "ShareLink", "Waiver", "is_undecided", "key_of"]
