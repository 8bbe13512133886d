"""Every threshold that turns a measurement into a finding, with where it comes from.

"House choice" means that no standard fixes the value: the house may edit it, and nobody else is bound by it.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.core.reports import Record


@dataclass(frozen=True)
class Limits(Record):
    # Clipping. No standard defines clipping in a file; three equal samples in a row is the counter habit of disc
    # mastering (common practice). All other numbers here are house choices.
    clipped_run_frames: int = 3
    # Steps into a plateau that rounding alone explains, in units of the last bit (derived: see clipping.py).
    rounding_step_lsb: float = 3.0
    # The lowest tone whose own rounded crest must not be called clipped.
    lowest_tone_hz: float = 20.0
    # A plateau longer than this is a stuck converter or a constant, not a clipped peak: half a period at 10 Hz.
    longest_plateau_s: float = 0.05
    # Below this a file has so few steps that equal samples in a row mean nothing.
    clipped_lowest_dbfs: float = -40.0
    # Runs closer together than this are one event: about a bar at a moderate tempo.
    clipped_event_gap_s: float = 2.0
    # Fewer and shorter runs than these are a limiter's ceiling on a finished mix: worth knowing, nothing to stop for.
    clipped_stop_runs: int = 25
    clipped_stop_run_s: float = 0.0002
    clipped_note_runs: int = 4

    # Levels. -1 dBTP: EBU R 128 maximum true peak, a programme value; here only a note. The others: house choices.
    true_peak_over_dbtp: float = 0.0
    low_level_dbfs: float = -30.0
    silent_peak_dbfs: float = -80.0
    # Mean over the whole file: from -60 dBFS on it is worth a note (house choice). Nobody has to answer it: a high-pass
    # filter removes it.
    dc_note: float = 0.001
    # The offset must stand this many standard errors above what low notes and single hits do to a mean (house choice).
    dc_errors: float = 4.0
    # Peak to loudness: a mix whose true peak sits so close to its loudness has no transients left to play to.
    squashed_plr_lu: float = 7.0

    # Silence rule: a file begins with its first sample above the lower of -60 dBFS and 50 dB under its own peak, but
    # never under -90 dBFS; it ends with its last. House choice: amp hiss stays out, a quiet fade-in stays in.
    silence_dbfs: float = -60.0
    silence_below_peak_db: float = 50.0
    silence_floor_dbfs: float = -90.0

    # Channels (house choices). Near dual mono: the difference of the channels sits this far under their sum.
    one_sided_db: float = 40.0
    dual_mono_near_db: float = 60.0
    inverted_correlation: float = -0.95

    # Dropouts: a hole or a stuck value inside music (house choices; converter buffers are 32 to 4096 frames).
    dropout_shortest_s: float = 0.0005
    dropout_longest_s: float = 0.12
    dropout_surrounding_dbfs: float = -50.0

    # Lossy origin (house choices, from the edges measured with common encoders): a steep edge below 20.05 kHz with
    # energy right under it. 320 kb/s sits at 20.1 kHz and cannot be told from a converter's own filter.
    lossy_edge_lowest_hz: float = 14_500.0
    lossy_edge_highest_hz: float = 20_050.0
    edge_drop_db: float = 25.0
    edge_width_hz: float = 800.0
    edge_level_below_mid_db: float = 45.0

    # Between files (house choices; two samples: as far as noise moved a start in docs/files.md, "Line-up").
    start_confidence: float = 0.6
    start_differs_frames: int = 2
    # An offset below this is neither heard nor played to: worth a note (house choice).
    start_stop_s: float = 0.005
    length_differs_s: float = 0.5
    # A lag within two samples of a known encoder delay is named after it (house choice).
    codec_delay_tolerance_frames: int = 2
    # Something in the rough mix that is in no stem must last this long: a tail of reverberation does not count
    # (house choice).
    missing_from_stems_s: float = 3.0
    # Confidence above which a file is said to hold drums, and below which it is said to hold none (house choice).
    drums_sure: float = 0.75
    # From here on a delivery's rhythm is held against a file (house choice: of the project's own band, whose other
    # songs the weights have learned, 23 of 24 sounds with drums lie above, and 2 of 133 without).
    drums_likely: float = 0.4
    # From here on the client is asked whether there are drums in it; below, it is a note for the drummer (house choice,
    # from the false alarms counted in docs/files.md).
    drums_ask: float = 0.9

    # Names, tags and brief against the measured tempo (house choice).
    named_bpm_tolerance: float = 0.02

    # Song. A measured reading at or above these confidences is used without asking (house choices).
    tempo_sure: float = 0.8
    meter_sure: float = 0.8
    bar_one_sure: float = 0.7
    # Brief against measurement: 0.05 BPM is 107 ms after four minutes at 112 (derived); a map may wander around it,
    # and bar one may be this late (house choices).
    brief_bpm_tolerance: float = 0.02
    brief_map_share: float = 0.03
    bar_one_late_s: float = 0.05
    # A start error from 10 ms on is a fault (house choice). Attacks are seen a little after the sound's own start.
    click_differs_s: float = 0.0098
    # A click that starts this long after the band, or stops this long before it, does not carry it (house choice).
    click_late_bars: float = 1.0
    click_short_bars: float = 2.0
    # The lag that is taken for none, since attacks are placed a little late (house choice).
    usual_lag_s: float = 0.004
    # Steadily behind or ahead of the map by this much is a way of playing, not a fault (house choice; ensembles spread
    # by 27 to 49 ms and sound together: Rasch 1979).
    feel_s: float = 0.03
    # A soft attack is seen late, never early; drums are sharp. Beyond these a stem is off, not just soft (house
    # choices).
    stem_late_s: float = 0.038
    drums_late_s: float = 0.018
    stem_early_s: float = 0.02
    # A lag is used only if the attacks agree on it by at least this (house choice).
    lag_coherence: float = 0.6
