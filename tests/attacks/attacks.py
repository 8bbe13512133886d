"""The attacks by name. A new one is a function and a row here. Each is bounded: so many connections, so many bytes."""

from __future__ import annotations

from tests.attacks import connections, texts, uploads
from tests.attacks.kinds import Attack

ATTACKS = (
    Attack("slow posts", connections.slow_posts),
    Attack("slow heads", connections.slow_heads),
    Attack("idle connections", connections.idle),
    Attack("slow readers", connections.slow_readers),
    Attack("slow uploads", connections.slow_uploads),
    Attack("spooled bodies", connections.spooled_bodies),
    Attack("request flood", connections.flood),
    Attack("upload reservations", uploads.reservations, who="client"),
    Attack("upload races", uploads.races, who="client"),
    Attack("zip of one name", uploads.zip_of_one_name, who="client", leaves_traces=True),
    Attack("zip64 offsets", uploads.zip64_offsets, who="client", leaves_traces=True),
    Attack("zip bomb", uploads.zip_bomb, who="client", leaves_traces=True),
    Attack("tiny files", uploads.tiny_files, who="client", leaves_traces=True),
    Attack("texts of a client", texts.hostile_forms, who="client", leaves_traces=True),
    Attack("texts of a drummer", texts.hostile_forms, who="drummer", leaves_traces=True),
)
