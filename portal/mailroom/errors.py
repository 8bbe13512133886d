"""MailroomError
├── NoSuchAnswerError: an answer that the message does not offer, or without the figure it asks for
└── NotWaitingError: the message was answered, withdrawn or sent already
"""


class MailroomError(Exception):
    """Something that a person did not expect; `str()` is the sentence for them."""


class NoSuchAnswerError(MailroomError):
    pass


class NotWaitingError(MailroomError):
    pass
