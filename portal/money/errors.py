"""What can be refused about money: MoneyError → QuoteError, PaymentError. The text is for the person who asked."""


class MoneyError(Exception):
    """The answer is a sentence for whoever pressed the button."""


class QuoteError(MoneyError):
    """The quote is not in a state for this: expired, decided, replaced, or not yet sent."""


class PaymentError(MoneyError):
    """Nothing is agreed yet that could be paid, or it was recorded before."""
