"""Names as the trade writes them (common practice; no standard)."""

import pytest

from analysis.delivery.channels import Channel, channel_of


@pytest.mark.parametrize(
    ("name", "channel"),
    [
        ("KickIn", Channel("kick")),
        ("Kick_Out", Channel("kick", other_head=True)),
        ("SnTop", Channel("snare")),
        ("03 Snare Bottom", Channel("snare", other_head=True)),
        ("Hi-Hat", Channel("hat")),
        ("Floor Tom", Channel("floor")),
        ("Rack1", Channel("tom")),
        ("OHL", Channel("overhead", side="left")),
        ("Overheads_R", Channel("overhead", side="right")),
        ("RmL", Channel("room", side="left")),
        ("RmMono", Channel("room")),
        ("Click", Channel("click")),
        ("DrumMix", Channel("mix")),
        ("Vocal", Channel("other")),
    ],
)
def test_reads_a_name(name: str, channel: Channel) -> None:
    assert channel_of(name) == channel
