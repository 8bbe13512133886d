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
    turns.WRITE_QUOTE: WaitWords(
        "Write the quote and send it.", "Waiting for the quote from {drummer}.", "Write the quote"
    ),
    turns.SEND_QUOTE: WaitWords(
        "The quote is a draft: send it when it is right.", "Waiting for the quote from {drummer}.", "Open the quote"
    ),
    turns.RENEW_QUOTE: WaitWords(
        "The quote is no longer valid, and was not accepted. Send a new one.",
        "The quote is no longer valid. {drummer} can send a new one.",
        "Write a new quote",
    ),
    turns.ANSWER_QUOTE: WaitWords(
        "Read the quote, then accept or decline it.", "Waiting for {client}’s answer to the quote.", "Read the quote"
    ),
    turns.ANSWER_NEW_QUOTE: WaitWords(
        "Read the new quote, then accept or decline it. Until then the one you accepted stays valid.",
        "Waiting for {client}’s answer to the new quote. Until it is accepted the old one stays valid.",
        "Read the new quote",
    ),
    turns.ADD_SONG: WaitWords(
        "Add the songs of this booking.", "Waiting for {drummer} to add the songs.", "Add a song"
    ),
    turns.WRITE_BRIEF: WaitWords(
        "Write the brief, then send the files.", "Waiting for {client}’s brief and files.", "Write the brief"
    ),
    turns.SEND_FILES: WaitWords(
        "The brief is written: send the files.", "Waiting for {client}’s files.", "Send the files"
    ),
    turns.CHECK: WaitWords("", "The files are being measured. You don’t have to wait."),
    turns.ANSWER_QUESTION: WaitWords(
        "Answer what we asked about your files.", "Waiting for {client}’s answer about the files.", "Answer"
    ),
    turns.SEND_PROMISED_FILE: WaitWords(
        "Send the new file you promised.", "Waiting for the new file that {client} promised.", "Send the file"
    ),
    turns.HEAR_BARS: WaitWords(
        "Listen to some bars with a click and say whether they are right.",
        "Waiting for {client}’s answer to the listening check.",
        "Listen",
    ),
    turns.SEND_DRAFT: WaitWords(
        "A message to the client is held for you: send it, or resolve what it asks.",
        "Waiting for {drummer} to review the measurements.",
        "Open the song sheet",
    ),
    turns.APPROVE_MAP: WaitWords(
        "Review the findings on the song sheet, then approve tempo and bar one.",
        "Waiting for {drummer} to review the measurements.",
        "Open the song sheet",
    ),
    turns.SETTLE_FINDINGS: WaitWords(
        "Tempo and bar one are approved. On the song sheet, resolve what still blocks the song.",
        "Waiting for {drummer} to review the findings.",
        "Open the song sheet",
    ),
    turns.PAY_DEPOSIT: WaitWords(
        "Pay the deposit: tracking can begin as soon as it is recorded.",
        "Waiting for {client}’s deposit. Tracking can begin when you have recorded it.",
        "See how to pay",
        "Record the deposit",
    ),
    turns.MARK_READY: WaitWords(
        "Tempo and bar one are approved, and nothing blocks the song: mark it ready to track on the song sheet.",
        "Nothing is missing. Waiting for {drummer} to track it.",
        "Open the song sheet",
    ),
    turns.TRACK: WaitWords(
        "It is ready to track: press “Start tracking” when you begin.",
        "Nothing is missing. Waiting for {drummer} to track it.",
        "Go to “Start tracking”",
    ),
    turns.SEND_MIX: WaitWords(
        "Send a rough mix when you have one.", "Waiting for a rough mix from {drummer}.", "Go to the rough mixes"
    ),
    turns.CHANGE_MIX: WaitWords(
        "Make the requested change, then send a new rough mix.",
        "Waiting for a new rough mix from {drummer}, with the requested change.",
        "Go to the rough mixes",
    ),
    turns.HEAR_MIX: WaitWords(
        "Listen to the rough mix, then accept it or ask for a change.",
        "Waiting for {client}’s answer to the rough mix.",
        "Listen",
    ),
    turns.DELIVER: WaitWords(
        "The rough mix is accepted: deliver the multitrack.",
        "The rough mix is accepted. Waiting for {drummer} to deliver the multitrack.",
        "Go to the delivery",
    ),
    turns.MEND_SET: WaitWords(
        "Checks of the multitrack failed: look at them, then deliver it.",
        "The rough mix is accepted. Waiting for {drummer} to deliver the multitrack.",
        "Go to the delivery",
    ),
    turns.CHECK_SET: WaitWords("", "The rough mix is accepted. The multitrack is being checked before it goes out."),
    turns.CORRECT_SET: WaitWords(
        "", "The rough mix is accepted. The multitrack is being corrected, then checked again."
    ),
    turns.PAY_BALANCE: WaitWords(
        "Pay the balance: you can download the files as soon as it is recorded.",
        "The files are held. Waiting for {client}’s balance: record it when it arrives.",
        "See how to pay",
        "Record the balance",
    ),
    turns.ACCEPT_FILES: WaitWords(
        "Download your files and accept them.",
        "Waiting for {client} to download and accept the files.",
        "Go to the files",
    ),
    turns.DONE: WaitWords("", "Delivered and accepted. Nothing left to do."),
    turns.TAKEN_OUT: WaitWords("", "This song is taken out of the booking. What was said and sent stays here."),
    turns.OVER_WAITS[BookingStage.CLOSED]: WaitWords("", "Everything is delivered and accepted."),
    turns.OVER_WAITS[BookingStage.DECLINED]: WaitWords("", "The quote was declined."),
    turns.OVER_WAITS[BookingStage.CANCELLED]: WaitWords("", "The booking was cancelled. Messages and files stay here."),
}
WORDS_BY_CODE = {wait.code: words for wait, words in WORDS.items()}
