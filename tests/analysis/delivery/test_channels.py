"""Names as the trade writes them (common practice; no standard)."""

import pytest

from analysis.delivery.channels import LABELS, Channel, channel_of, label_of


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


@pytest.mark.parametrize("label", [label for label in LABELS if label not in ("KickSub", "RmMono", "Other")])
def test_a_label_is_a_name_that_says_itself(label: str) -> None:
    assert label_of(label) == label


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("02 Kick In", "KickIn"),
        ("Snare Bottom", "SnBot"),
        ("hi-hat", "Hat"),
        ("Floor Tom", "Floor1"),
        ("07_tom 2", "Tom2"),
        ("Overheads_R", "OHR"),
        ("Audio 01", ""),
        ("Tom 3", ""),
    ],
)
def test_a_name_says_which_channel_it_is_or_leaves_it_open(name: str, label: str) -> None:
    assert label_of(name) == label
