"""What each wait means, in words: for whoever acts, and for whoever waits ({drummer} and {client} are names)."""

from __future__ import annotations

from dataclasses import dataclass

from portal.bookings import turns
from portal.bookings.stages import BookingStage


@dataclass(frozen=True)
class WaitWords:
    """`label` is the button of whoever acts, `their_label` that of whoever waits and can do something meanwhile."""

    yours: str
    theirs: str
    label: str = ""
    their_label: str = ""


WORDS = {
    turns.WRITE_QUOTE: WaitWords("Write the quote and send it.", "{drummer} is writing the quote.", "Write the quote"),
    turns.SEND_QUOTE: WaitWords(
        "The quote is a draft: send it when it is right.", "{drummer} is writing the quote.", "Open the quote"
    ),
    turns.RENEW_QUOTE: WaitWords(
        "The quote is no longer valid, and was not accepted. Send a new one.",
        "The quote is no longer valid. {drummer} can send a new one.",
        "Write a new quote",
    ),
    turns.ANSWER_QUOTE: WaitWords(
        "Read the quote, then accept or decline it.", "{client} is reading the quote.", "Read the quote"
    ),
    turns.ANSWER_NEW_QUOTE: WaitWords(
        "Read the new quote, then accept or decline it. Until then the one you accepted stays valid.",
        "{client} is reading the new quote. Until it is accepted the old one stays valid.",
        "Read the new quote",
    ),
    turns.ADD_SONG: WaitWords("Add the songs of this booking.", "{drummer} is adding the songs.", "Add a song"),
    turns.WRITE_BRIEF: WaitWords(
        "Write the brief, then send the files.",
        "{client} is writing the brief and sending the files.",
        "Write the brief",
    ),
    turns.SEND_FILES: WaitWords(
        "The brief is written: send the files.", "{client} is sending the files.", "Send the files"
    ),
    turns.CHECK: WaitWords("", "The files are being measured. You don’t have to wait."),
    turns.ANSWER_QUESTION: WaitWords(
        "Answer the question about your files.", "{client} has a question to answer.", "Answer"
    ),
    turns.SEND_PROMISED_FILE: WaitWords(
        "Send the new file you promised.", "{client} is sending a new file.", "Send the file"
    ),
    turns.HEAR_BARS: WaitWords(
        "Listen to some bars with a click and say whether they are right.",
        "{client} is listening to some bars with the click.",
        "Listen",
    ),
    turns.SEND_DRAFT: WaitWords(
        "A message to the client is held for you: send it, or resolve what it asks.",
        "{drummer} is reviewing the measurements.",
        "Open the song sheet",
    ),
    turns.APPROVE_MAP: WaitWords(
        "Review the findings, then approve tempo and bar one.",
        "{drummer} is reviewing the measurements.",
        "Open the song sheet",
    ),
    turns.SETTLE_FINDINGS: WaitWords(
        "Tempo and bar one are approved. Resolve what still blocks the song.",
        "{drummer} is reviewing the findings.",
        "Open the song sheet",
    ),
    turns.PAY_DEPOSIT: WaitWords(
        "Pay the deposit: the song is ready to be tracked as soon as it is recorded.",
        "The song is held until the deposit is paid. Record it when it arrives.",
        "Open payments",
        "Record the deposit",
    ),
    turns.MARK_READY: WaitWords(
        "Tempo and bar one are approved, and nothing blocks the song: mark it ready to track.",
        "{drummer} has everything, and will track it next.",
        "Open the song sheet",
    ),
    turns.TRACK: WaitWords(
        "It is ready to track.", "{drummer} has everything, and will track it next.", "Open the song"
    ),
    turns.SEND_MIX: WaitWords(
        "Send a rough mix when you have one.", "{drummer} is tracking it.", "Open the rough mixes"
    ),
    turns.CHANGE_MIX: WaitWords(
        "Make the requested change, then send a new rough mix.",
        "{drummer} is making the requested change.",
        "Open the rough mixes",
    ),
    turns.HEAR_MIX: WaitWords(
        "Listen to the rough mix, then accept it or ask for a change.",
        "{client} is listening to the rough mix.",
        "Listen",
    ),
    turns.DELIVER: WaitWords(
        "The rough mix is accepted: deliver the multitrack.",
        "The rough mix is accepted. {drummer} delivers the multitrack next.",
        "Open the delivery",
    ),
    turns.PAY_BALANCE: WaitWords(
        "Pay the balance: you can download the files as soon as it is recorded.",
        "The files are held until the balance is paid. Record it when it arrives.",
        "Open payments",
        "Record the balance",
    ),
    turns.ACCEPT_FILES: WaitWords(
        "Download your files and accept them.", "{client} is reviewing the files.", "Open the files"
    ),
    turns.DONE: WaitWords("", "Delivered and accepted. Nothing left to do."),
    turns.TAKEN_OUT: WaitWords("", "This song is taken out of the booking. What was said and sent stays here."),
    turns.OVER_WAITS[BookingStage.CLOSED]: WaitWords("", "Everything is delivered and accepted."),
    turns.OVER_WAITS[BookingStage.DECLINED]: WaitWords("", "The quote was declined."),
    turns.OVER_WAITS[BookingStage.CANCELLED]: WaitWords("", "The booking was cancelled. Messages and files stay here."),
}
WORDS_BY_CODE = {wait.code: words for wait, words in WORDS.items()}
