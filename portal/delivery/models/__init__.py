"""Multitracks as sets, and who was given them."""

from portal.delivery.models.photos import KitPhoto
from portal.delivery.models.release import Receipt, ShareLink
from portal.delivery.models.repairs import SetRepair
from portal.delivery.models.sets import SHEET_COLUMNS, Delivery, DeliveryFile, Waiver, as_check, is_undecided, key_of

__all__ = [
    "SHEET_COLUMNS",
    "Delivery",
    "DeliveryFile",
    "KitPhoto",
    "Receipt",
    "SetRepair",
    "ShareLink",
    "Waiver",
    "as_check",
    "is_undecided",
    "key_of",
]
