"""MailroomError
├── NoSuchAnswerError: an answer that the question does not offer, or without the figure it asks for
├── NotWaitingError: the question was answered and sent on, or needs no answer any more
├── TooManyMessagesError: one person wrote more in a day than anybody reads
└── AnsweredOtherwiseError: somebody else answered it while the page was open
"""


class MailroomError(Exception):
    """Something that a person did not expect; `str()` is the sentence for them."""


class NoSuchAnswerError(MailroomError):
    pass


class NotWaitingError(MailroomError):
    pass


class AnsweredOtherwiseError(MailroomError):
    pass


class TooManyMessagesError(MailroomError):
    pass
